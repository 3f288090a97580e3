//! From the variables to the grade: a neural network with three hidden nodes (section 6 of annex 2,
//! basic version).

use super::movs::Movs;

const HIDDEN: usize = 3;

/// For each variable: its least and greatest value, and its weight in each hidden node.
const INPUTS: [([f64; 2], [f64; HIDDEN]); 11] = [
    ([393.916656, 921.0], [-0.502657, 0.436333, 1.219602]),
    ([361.965332, 881.131226], [4.307481, 3.246017, 1.123743]),
    ([-24.045116, 16.212030], [4.984241, -2.211189, -0.192096]),
    ([1.110661, 107.137772], [0.051056, -1.762424, 4.331315]),
    ([-0.206623, 2.886017], [2.321580, 1.789971, -0.754560]),
    ([0.074318, 13.933351], [-5.303901, -3.452257, -10.814982]),
    ([1.113683, 63.257874], [2.730991, -6.111805, 1.519223]),
    ([0.950345, 1145.018555], [0.624950, -1.331523, -5.955151]),
    ([0.029985, 14.819740], [3.102889, 0.871260, -5.922878]),
    ([0.000101, 1.0], [-1.051468, -0.939882, -0.142913]),
    ([0.0, 1.0], [-1.804679, -0.503610, -0.620456]),
];
const HIDDEN_BIAS: [f64; HIDDEN] = [-2.518254, 0.654841, -2.207228];
const OUTPUT: [f64; HIDDEN] = [-3.817048, 4.107138, 4.629582];
const OUTPUT_BIAS: f64 = -0.307594;
/// The least and greatest grade that the network gives.
const GRADES: [f64; 2] = [-3.98, 0.22];

fn sigmoid(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

/// The distortion index.
pub fn distortion_index(movs: &Movs) -> f64 {
    let mut nodes = HIDDEN_BIAS;
    for ((_, value), ([least, greatest], weights)) in movs.named().into_iter().zip(INPUTS) {
        let x = (value - least) / (greatest - least);
        for (node, weight) in nodes.iter_mut().zip(weights) {
            *node += weight * x;
        }
    }
    OUTPUT_BIAS + nodes.into_iter().zip(OUTPUT).map(|(node, weight)| weight * sigmoid(node)).sum::<f64>()
}

/// The objective difference grade of a distortion index.
pub fn grade(distortion_index: f64) -> f64 {
    GRADES[0] + (GRADES[1] - GRADES[0]) * sigmoid(distortion_index)
}

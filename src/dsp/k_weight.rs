//! The K-weighting of Recommendation ITU-R BS.1770-5, Annex 1: a high shelf, then a high-pass.

/// Both filters for one channel, f64, transposed direct form II.
#[derive(Clone, Debug)]
pub struct KWeight {
    shelf: Section,
    high_pass: Section,
}

#[derive(Clone, Debug)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
    z: [f64; 2],
}

impl Section {
    #[inline]
    fn step(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.z[0];
        self.z[0] = self.b[1] * x - self.a[0] * y + self.z[1];
        self.z[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

impl KWeight {
    /// Filters for `sample_rate` in Hz.
    ///
    /// The standard prints coefficients for 48 kHz only and asks for the same response elsewhere.
    /// These parameters reproduce its table to all printed digits (the form in use in the
    /// libebur128 library and the `ebur128` crate); the bilinear transform carries them over.
    pub fn new(sample_rate: f64) -> Self {
        let tan = |f0: f64| (std::f64::consts::PI * f0 / sample_rate).tan();

        let (k, q) = (tan(1681.974450955533), 0.7071752369554196);
        let vh = 10f64.powf(3.999843853973347 / 20.0);
        let vb = vh.powf(0.4996667741545416);
        let d = 1.0 + k / q + k * k;
        let shelf = Section {
            b: [(vh + vb * k / q + k * k) / d, 2.0 * (k * k - vh) / d, (vh - vb * k / q + k * k) / d],
            a: [2.0 * (k * k - 1.0) / d, (1.0 - k / q + k * k) / d],
            z: [0.0; 2],
        };

        let (k, q) = (tan(38.13547087602444), 0.5003270373238773);
        let d = 1.0 + k / q + k * k;
        let high_pass = Section {
            b: [1.0, -2.0, 1.0],
            a: [2.0 * (k * k - 1.0) / d, (1.0 - k / q + k * k) / d],
            z: [0.0; 2],
        };
        Self { shelf, high_pass }
    }

    /// One sample in, its weighted value out.
    #[inline]
    pub fn step(&mut self, x: f64) -> f64 {
        self.high_pass.step(self.shelf.step(x))
    }

    /// Forgets all signal.
    pub fn reset(&mut self) {
        self.shelf.z = [0.0; 2];
        self.high_pass.z = [0.0; 2];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables 1 and 2 of BS.1770-5, Annex 1.
    #[test]
    fn matches_the_printed_coefficients_at_48_khz() {
        let k = KWeight::new(48_000.0);
        let printed =
            [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585];
        let ours = [k.shelf.b[0], k.shelf.b[1], k.shelf.b[2], k.shelf.a[0], k.shelf.a[1]];
        for (ours, printed) in ours.iter().zip(printed) {
            assert!((ours - printed).abs() < 1e-13, "{ours} {printed}");
        }
        assert!((k.high_pass.a[0] + 1.99004745483398).abs() < 1e-13);
        assert!((k.high_pass.a[1] - 0.99007225036621).abs() < 1e-13);
    }
}

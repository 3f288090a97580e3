//! Several references as one: profiles in, median and spread of every figure and of every band out.

use super::bands::{BANDS, Levels};
use super::profile::Profile;
use super::stereo::StereoRange;

/// References from which on the spread is that of the middle half; of fewer it reaches from the lowest to the
/// highest.
const FOR_QUARTILES: usize = 5;

/// Median and spread of some values.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Spread {
    /// Lowest value, or lower quartile of five or more.
    pub low: f64,
    /// Median.
    pub median: f64,
    /// Highest value, or upper quartile of five or more.
    pub high: f64,
}

impl Spread {
    /// Of all values that exist; none without any. Quantiles between two values are interpolated linearly
    /// (type 7 of Hyndman and Fan, The American Statistician 50, 1996; from memory).
    pub fn of(values: impl IntoIterator<Item = Option<f64>>) -> Option<Self> {
        let mut values: Vec<f64> = values.into_iter().flatten().filter(|x| x.is_finite()).collect();
        values.sort_by(f64::total_cmp);
        let last = values.len().checked_sub(1)?;
        let at = |share: f64| {
            let place = share * last as f64;
            let (below, above) = (values[place.floor() as usize], values[place.ceil() as usize]);
            below + (above - below) * place.fract()
        };
        let edge = if values.len() >= FOR_QUARTILES { 0.25 } else { 0.0 };
        Some(Self { low: at(edge), median: at(0.5), high: at(1.0 - edge) })
    }
}

/// One or more references.
#[derive(Clone, Debug)]
pub struct ReferenceSet {
    /// In the order in which they were named; at least one.
    pub profiles: Vec<Profile>,
}

impl ReferenceSet {
    /// Of at least one profile.
    ///
    /// # Panics
    /// Without any.
    pub fn new(profiles: Vec<Profile>) -> Self {
        assert!(!profiles.is_empty(), "a comparison needs a reference");
        Self { profiles }
    }

    /// Spread of one figure.
    pub fn spread(&self, figure: impl Fn(&Profile) -> Option<f64>) -> Option<Spread> {
        Spread::of(self.profiles.iter().map(figure))
    }

    /// Spread of a figure of one stereo range.
    pub fn stereo(&self, range: usize, figure: impl Fn(&StereoRange) -> Option<f64>) -> Option<Spread> {
        self.spread(|profile| figure(&profile.stereo.ranges[range]))
    }

    /// Spread of the levels at equal loudness, by band.
    pub fn levels(&self) -> [Option<Spread>; BANDS] {
        let all: Vec<Levels> = self.profiles.iter().map(Profile::levels).collect();
        std::array::from_fn(|band| Spread::of(all.iter().map(|levels| levels[band])))
    }

    /// What the references are called together.
    pub fn name(&self) -> String {
        match &self.profiles[..] {
            [one] => one.name(),
            all => format!("{} references", all.len()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_values_spread_from_lowest_to_highest_and_many_by_quartiles() {
        let of = |values: &[f64]| Spread::of(values.iter().copied().map(Some)).unwrap();
        assert_eq!(of(&[2.0]), Spread { low: 2.0, median: 2.0, high: 2.0 });
        assert_eq!(of(&[4.0, 1.0]), Spread { low: 1.0, median: 2.5, high: 4.0 });
        assert_eq!(of(&[9.0, 1.0, 3.0, 2.0, 4.0]), Spread { low: 2.0, median: 3.0, high: 4.0 });
        assert_eq!(Spread::of([None, Some(f64::NEG_INFINITY)]), None);
        assert_eq!(Spread::of([None, Some(1.0)]).unwrap().median, 1.0);
    }
}

//! Repeatable random numbers.

/// splitmix64 (Steele, Lea and Flood 2014, OOPSLA, "Fast splittable pseudorandom number generators").
pub(crate) struct Random {
    state: u64,
}

/// What a stream of random numbers is for. Each purpose has its own stream, so that adding a fault to a
/// recording moves no beat of it.
#[derive(Clone, Copy)]
pub(crate) enum Purpose {
    Breathing = 1,
    Rhythm = 2,
    Amplifier = 3,
    Hum = 4,
    Wander = 5,
    Muscle = 6,
    Person = 7,
}

impl Random {
    /// The stream of `seed` for one purpose.
    pub(crate) fn new(seed: u64, purpose: Purpose) -> Random {
        let mut streams = Random { state: seed };
        let base = streams.next();
        Random { state: base ^ (purpose as u64).wrapping_mul(0xD134_2543_DE82_EF95) }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 (included) to 1 (excluded), evenly spread.
    pub(crate) fn uniform(&mut self) -> f64 {
        let bits = u32::try_from(self.next() >> 32).unwrap_or(0);
        f64::from(bits) / 4_294_967_296.0
    }

    /// A nearly normal number of mean 0 and standard deviation 1: the sum of 12 even ones, at most 6 in size.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_gives_the_published_sequence() {
        // The task "Pseudo-random numbers/Splitmix64" of rosettacode.org states these five for 1234567 (from memory).
        let mut random = Random { state: 1_234_567 };
        for expected in [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ] {
            assert_eq!(random.next(), expected);
        }
    }

    #[test]
    fn normal_numbers_have_mean_zero_and_deviation_one() {
        let mut random = Random::new(5, Purpose::Amplifier);
        let values: Vec<f64> = (0..20_000).map(|_| random.normal()).collect();
        let mean = values.iter().sum::<f64>() / 20_000.0;
        let square = values.iter().map(|value| value * value).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (square - 1.0).abs() < 0.03, "mean {mean}, square {square}");
    }
}

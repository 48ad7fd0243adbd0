//! Seeded chance: the same seed, the same sound, on every machine.

/// A generator of 64-bit numbers by the splitmix method **[P: Steele, Lea & Flood, Fast Splittable Pseudorandom
/// Number Generators, OOPSLA 2014]**.
#[derive(Debug, Clone)]
pub(super) struct Dice(u64);

impl Dice {
    /// Dice for one purpose: different `use_number`s of the same seed have nothing in common.
    pub(super) fn new(seed: u64, use_number: u64) -> Self {
        let mut dice = Dice(seed ^ use_number.wrapping_mul(0xD134_2543_DE82_EF95));
        dice.next();
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between -1 and 1.
    pub(super) fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// A factor within `share` of 1 either way.
    pub(super) fn about_one(&mut self, share: f64) -> f64 {
        1.0 + share * self.even()
    }
}

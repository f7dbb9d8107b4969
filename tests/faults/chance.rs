//! Chance that is the same every time: xorshift64* (Vigna 2016, "An experimental exploration of Marsaglia's
//! xorshift generators, scrambled").

pub struct Chance(u64);

impl Chance {
    /// From `FAULTS_SEED`, or the usual one; it is printed.
    pub fn seeded(test: &str) -> Self {
        let seed = std::env::var("FAULTS_SEED");
        let seed = seed.map_or(20_260_601, |seed| seed.parse().unwrap());
        println!("{test}: FAULTS_SEED={seed}");
        Self(seed.max(1))
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// A number from 0 to below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() >> 16).unwrap() % end
    }

    pub fn of<'a, T>(&mut self, choices: &'a [T]) -> &'a T {
        &choices[self.below(choices.len())]
    }
}

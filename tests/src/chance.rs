//! In: a seed. Out: the same chance every time (xorshift64*; Marsaglia's polar method).

/// A small generator for tests.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// A seed other than 0.
    pub fn new(seed: u64) -> Chance {
        Chance(seed.max(1))
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// A whole number from 0, below `end`.
    pub fn below(&mut self, end: u64) -> u64 {
        (self.next() >> 16) % end
    }

    /// Uniform from 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal, with mean 0 and deviation 1.
    pub fn normal(&mut self) -> f64 {
        loop {
            let (x, y) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                return x * (-2.0 * square.ln() / square).sqrt();
            }
        }
    }
}

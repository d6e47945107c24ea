//! In: the name of a paper size. Out: its width and height.

/// A sheet of paper, upright.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216)
    #[default]
    A4,
    /// 8.5 × 11 in (ANSI Y14.1)
    Letter,
}

impl Paper {
    /// Width and height. Unit: pt
    pub fn size(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Paper::Letter => (8.5 * 72.0, 11.0 * 72.0),
        }
    }

    /// The name that CSS has for it.
    pub fn css(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "letter",
        }
    }
}

//! In: the tails of stops. Out: a recording of moves with such stops, as its lines, and what it shows by definition.

/// Sample period. Unit: s
pub(crate) const PERIOD: f64 = 0.001;
/// Rows before the first move, of a move, and of the rest after it.
const ROWS: (usize, usize, usize) = (100, 150, 300);

/// One stop: error at the command end, the time constant with which it decays, and what remains of it.
/// Unit: mm, s, mm
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tail {
    pub(crate) height: f64,
    pub(crate) constant: f64,
    pub(crate) offset: f64,
}

impl Tail {
    /// Error so long after the last row of the move. Unit: mm
    pub(crate) fn error(&self, time: f64) -> f64 {
        self.offset + self.height * (-time / self.constant).exp()
    }
}

/// A recording of moves of `travel` mm, there and back in turn.
pub(crate) fn recording(tails: &[Tail], travel: f64) -> String {
    let mut rows = vec![(0.0, 0.0); ROWS.0];
    for (number, tail) in tails.iter().enumerate() {
        let (from, sign) = if number % 2 == 0 { (0.0, 1.0) } else { (travel, -1.0) };
        for row in 1..=ROWS.1 {
            let share = row as f64 / ROWS.1 as f64;
            // Smooth: no speed and no acceleration at either end.
            let smooth = share.powi(3) * (10.0 - 15.0 * share + 6.0 * share * share);
            let command = from + sign * travel * smooth;
            rows.push((command, command - sign * tail.error(0.0) * share));
        }
        let target = from + sign * travel;
        rows.extend((1..=ROWS.2).map(|row| (target, target - sign * tail.error(row as f64 * PERIOD))));
    }
    let row = |(at, (command, feedback)): (usize, &(f64, f64))| {
        format!("{:.3},{command:.5},{feedback:.5}\n", at as f64 * PERIOD)
    };
    let lines = rows.iter().enumerate().map(row);
    std::iter::once("t_s,command [mm],feedback [mm]\n".to_owned()).chain(lines).collect()
}

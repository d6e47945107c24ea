//! In: nothing. Out: an invented greenhouse plug-tray transplanter, three axes.
//!
//! No such machine exists. The numbers are chosen to be plausible, and one part wears on each axis: the tray shuttle's
//! belt slackens, so the shuttle rings at a lower frequency and for longer; the coupling of the dibble's encoder slips, so
//! the dibble has an offset or settles late; the gripper turntable's bearing tightens, so the turntable creeps. Tests in
//! `machine` check the effect on settling times.

use stillpoint_core::Fraction;

use super::axis::AxisData;
use super::conditions::{Change, Response};
use super::drive::Gains;
use super::mechanics::Body;
use super::script::{Move, Script};
use super::wear::{Ramp, Wear};

/// Names of the axes, in the order in which they work on a plug.
pub const NAMES: [&str; 3] = ["tray_shuttle", "dibble", "gripper_turntable"];

/// What makes each axis slower, in the order of [`NAMES`].
const RESPONSES: [Response; 3] = [
    // A heavier tray presses on the guide, its inertia hardly counts; cold grease is thick.
    Response {
        product: Change { viscous: 2.6, ..Change::NONE },
        cold: Change { viscous: 2.6, ..Change::NONE },
        slow_hump: 0.0,
    },
    // Heat lengthens the screw between its bearings and so tightens them: cold means less friction. A wet plug is heavy.
    Response {
        product: Change { load: 0.6, ..Change::NONE },
        cold: Change { viscous: -0.75, ..Change::NONE },
        slow_hump: 0.4,
    },
    // The drive is set for a heavy product; the coupling's elastomer is stiffer when cold.
    Response {
        product: Change { load: -0.12, ..Change::NONE },
        cold: Change { stiffness: 1.15, ..Change::NONE },
        slow_hump: 0.0,
    },
];

/// The axes of the machine, in the order of [`NAMES`].
pub fn axes() -> [AxisData; 3] {
    [tray_shuttle(), dibble(), gripper_turntable()]
}

/// The axes of a machine on which only the chosen ones wear.
pub fn axes_wearing(wears: impl Fn(&str) -> bool) -> [AxisData; 3] {
    axes().map(|axis| if wears(axis.name) { axis } else { AxisData { wear: Wear::NONE, ..axis } })
}

/// A belt of 600 mm travel carries the tray under the tool, one row of plugs after another, and back.
pub fn tray_shuttle() -> AxisData {
    let mut moves: Vec<Move> = (1..=9).map(|row| Move::to(60.0 * f64::from(row), 0.15)).collect();
    moves.push(Move::to(0.0, 0.5));
    AxisData {
        name: NAMES[0],
        unit: "mm",
        // 20 bit per revolution, 60 mm of belt per revolution.
        counts_per_unit: whole(1 << 20, 60),
        body: Body {
            motor_inertia: 0.0025,
            load_inertia: 0.008,
            stiffness: 400.0,
            damping: 0.06,
            half_play: 0.0,
            friction: 1.5,
            presliding: 0.06,
            viscous: 0.02,
        },
        gains: Gains {
            position: 60.0,
            velocity: 3.0,
            integral: 25.0,
            speed_feedforward: 0.998,
            acceleration_feedforward: 0.0105,
            effort_limit: 260.0,
            effort_lag: 4e-4,
        },
        speed: 600.0,
        acceleration: 10_000.0,
        jerk: 2_000_000.0,
        noise_rms: 1.5,
        lead_in: 0.1,
        script: varied(moves, 0.1),
        wear: Wear { tension: Ramp { from: (0.15, 1.0), to: (1.0, 0.2) }, ..Wear::NONE },
        response: RESPONSES[0],
        nuisances: vec![],
        adjustments: vec![],
    }
}

/// A screw presses the dibble 25 mm into the plug and pulls it out.
pub fn dibble() -> AxisData {
    AxisData {
        name: NAMES[1],
        unit: "mm",
        // 17 bit per revolution, 10 mm of lead.
        counts_per_unit: whole(1 << 17, 10),
        body: Body {
            motor_inertia: 0.012,
            load_inertia: 0.003,
            stiffness: 5000.0,
            damping: 0.4,
            half_play: 0.0,
            friction: 2.5,
            presliding: 0.005,
            viscous: 0.05,
        },
        gains: Gains {
            position: 70.0,
            velocity: 9.0,
            integral: 60.0,
            speed_feedforward: 0.98,
            acceleration_feedforward: 0.012,
            effort_limit: 300.0,
            effort_lag: 2.5e-4,
        },
        speed: 400.0,
        acceleration: 12_000.0,
        jerk: 1_500_000.0,
        noise_rms: 0.8,
        lead_in: 0.1,
        script: varied(vec![Move::to(25.0, 0.12), Move::to(0.0, 0.25)], 0.15),
        wear: Wear { slip: Ramp { from: (0.55, 0.0), to: (1.0, -0.032) }, ..Wear::NONE },
        response: RESPONSES[1],
        nuisances: vec![],
        adjustments: vec![],
    }
}

/// The turntable swings the grippers a quarter turn from the tray to the pot and back.
pub fn gripper_turntable() -> AxisData {
    AxisData {
        name: NAMES[2],
        unit: "deg",
        // 20 bit per turn of the table.
        counts_per_unit: whole(1 << 20, 360),
        body: Body {
            motor_inertia: 2.6e-4,
            load_inertia: 3.5e-4,
            stiffness: 14.0,
            damping: 0.01,
            half_play: 0.0,
            friction: 0.25,
            presliding: 0.03,
            viscous: 1e-4,
        },
        gains: Gains {
            position: 35.0,
            velocity: 0.08,
            integral: 10.0,
            speed_feedforward: 0.985,
            acceleration_feedforward: 6.1e-4,
            effort_limit: 6.0,
            effort_lag: 4e-4,
        },
        speed: 600.0,
        acceleration: 8_000.0,
        jerk: 400_000.0,
        noise_rms: 1.0,
        lead_in: 0.1,
        script: varied(vec![Move::to(90.0, 0.25), Move::to(0.0, 0.25)], 0.15),
        wear: Wear { friction: Ramp { from: (0.35, 1.0), to: (1.0, 7.0) }, ..Wear::NONE },
        response: RESPONSES[2],
        nuisances: vec![],
        adjustments: vec![],
    }
}

/// Moves whose load varies by that share, and whose rests vary by 8 %.
fn varied(moves: Vec<Move>, load_spread: f64) -> Script {
    Script { moves, load_spread, dwell_spread: 0.08 }
}

/// `counts / length` for numbers written above, which are never zero.
const fn whole(counts: u64, length: u64) -> Fraction {
    match Fraction::new(counts, length) {
        Ok(fraction) => fraction,
        Err(_) => Fraction::ONE,
    }
}

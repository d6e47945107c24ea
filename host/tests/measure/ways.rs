//! In: one recording, written in many ways. Out: the same moves, or a question whose remedy gives the same moves.
//!
//! A way is a row of [`ways`]. No way may give other moves than the plain one without a question.

use super::{Folder, SHAPE, samples};

/// Sample period of the recording. At 2 kHz its time stamps in milliseconds could be seconds, too. Unit: s
const STEP: f64 = 0.0005;

/// One way of writing the recording.
struct Way {
    name: &'static str,
    bytes: Vec<u8>,
    /// Options that belong to the way, besides the window.
    options: &'static str,
    /// A text that the question has, and the options that it asks for; empty if nothing is asked.
    remedy: (&'static str, &'static str),
    /// Unit of the results, and its length. Unit: units/mm
    unit: (&'static str, f64),
    /// Resolution of the positions as written. Unit: mm
    resolution: f64,
}

impl Way {
    fn new(name: &'static str, bytes: impl Into<Vec<u8>>) -> Way {
        let bytes = bytes.into();
        Way { name, bytes, options: "", remedy: ("", ""), unit: ("mm", 1.0), resolution: 1e-4 }
    }

    fn unnamed(self) -> Way {
        self.unit("unit", 1.0)
    }

    fn unit(self, unit: &'static str, per_mm: f64) -> Way {
        Way { unit: (unit, per_mm), ..self }
    }

    fn options(self, options: &'static str) -> Way {
        Way { options, ..self }
    }

    fn with_question(self, text: &'static str, options: &'static str) -> Way {
        Way { remedy: (text, options), ..self }
    }

    fn resolution(self, resolution: f64) -> Way {
        Way { resolution, ..self }
    }
}

/// A file: header lines, then a line for each row, made from its second, command and feedback.
fn file(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    let line = |(row_number, (command, feedback)): (usize, (f64, f64))| {
        row(row_number as f64 * STEP, command, feedback) + "\n"
    };
    let header = if header.is_empty() { String::new() } else { format!("{header}\n") };
    header + &samples(4).into_iter().enumerate().map(line).collect::<String>()
}

/// The same with `;` between columns and a decimal comma.
fn comma(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    file(&header.replace(',', ";"), |t, c, f| row(t, c, f).replace(',', ";").replace('.', ","))
}

fn milliseconds(t: f64, c: f64, f: f64) -> String {
    format!("{:.1},{c:.4},{f:.4}", t * 1e3)
}

fn seconds(t: f64, c: f64, f: f64) -> String {
    format!("{t:.4},{c:.4},{f:.4}")
}

/// With a speed and a following error as further columns, which are no positions.
fn with_others(t: f64, c: f64, f: f64) -> String {
    format!("{:.1},{c:.4},{f:.4},{:.1},{:.4}", t * 1e3, c * 3.0, c - f)
}

/// An event log: the value of one signal in a line. Between events, a signal is unchanged if `changes` is set.
fn log(header: &str, tags: [&str; 2], delimiter: char, changes: bool) -> String {
    let mut text = header.to_owned() + "\n";
    let mut before = [String::new(), String::new()];
    for (row, (command, feedback)) in samples(4).into_iter().enumerate() {
        for ((value, tag), before) in [command, feedback].into_iter().zip(tags).zip(&mut before) {
            let value = format!("{value:.4}");
            if !changes || *before != value {
                let second = row as f64 * STEP;
                text += &format!("{second:.4}{delimiter}{tag}{delimiter}{value}\n");
            }
            *before = value;
        }
    }
    text
}

/// A time of day in an hour before noon.
fn clock(t: f64) -> String {
    format!("11:07:{:07.4}", t + 5.0)
}

/// Number of a row.
fn row(t: f64) -> u64 {
    (t / STEP).round() as u64
}

/// A position as the angle of an axis that begins anew after a turn. Unit: deg
fn turned(mm: f64) -> f64 {
    (355.0 + 3.0 * mm) % 360.0
}

/// Noise of 3 µm rms: a sum of twelve uniform numbers for each row. Unit: mm
fn noise(row: u64) -> f64 {
    let mut state = row.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5EED;
    let uniform = (0..12).map(|_| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1u32 << 31)
    });
    0.003 * (uniform.sum::<f64>() - 6.0)
}

fn ways() -> Vec<Way> {
    let wide = |text: String| text.encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<u8>>();
    let counts = |mm: f64| (mm * 1e4 / 3.0).round();
    vec![
        // Encodings, delimiters, decimal signs.
        Way::new("semicolons and decimal commas", comma("t [s],Soll [mm],Ist [mm]", seconds)),
        Way::new("tabs", file("t [s],Soll [mm],Ist [mm]", seconds).replace(',', "\t")),
        Way::new("bars and carriage returns", {
            file("t [s],Soll [mm],Ist [mm]", seconds).replace(',', "|").replace('\n', "\r\n")
        }),
        Way::new("spaces", file("# t_s cmd_mm act_mm", |t, c, f| format!("  {t:8.4}  {c:9.4} {f:9.4}"))),
        Way::new("byte order mark", {
            let row = |t, c, f| format!("{:.0},{c:.4},{f:.4}", t * 1e6);
            format!("\u{feff}{}", file("time (µs),command (mm),feedback (mm)", row))
        }),
        Way::new("UTF-16", wide(format!("\u{feff}{}", comma("Zeit [ms],Soll [mm],Ist [mm]", milliseconds)))),
        Way::new("lines before the header", {
            format!("Axis;shuttle\nRate;2;kHz\n\n{}", comma("t [s],Soll [mm],Ist [mm]", seconds))
        }),
        Way::new("no names", file("", seconds)).unnamed(),
        // Times.
        Way::new("units below the names", comma("Zeit,Soll,Ist\nms,mm,mm", milliseconds)),
        Way::new("units of other columns", {
            file("time,command,feedback,speed,load\nms,mm,mm,mm/s,%", with_others)
        }),
        Way::new("units in brackets, one empty, and a blank line", {
            file("time,command,feedback,state,force\n(ms),(mm),(mm),,(N)\n", with_others)
        }),
        Way::new("units above the names", comma("ms,mm,mm\nZeit,Soll,Ist", milliseconds)),
        Way::new("types below the units", comma("Zeit,Soll,Ist\nms,mm,mm\nREAL,REAL,REAL", milliseconds)),
        Way::new("units in place of names", file("ms,mm,mm", milliseconds)),
        Way::new("milliseconds without a unit", file("t,command,feedback", milliseconds))
            .unnamed()
            .with_question("--time t:ms", "--time t:ms"),
        Way::new("microseconds without a unit", {
            file("t,command,feedback", |t, c, f| format!("{:.0},{c:.4},{f:.4}", t * 1e6))
        })
        .unnamed()
        .with_question("us", "--time t:us"),
        Way::new("days", {
            file("time,command,feedback", |t, c, f| format!("{:.12},{c:.4},{f:.4}", t / 86_400.0))
        })
        .unnamed()
        .with_question("--rate HZ", "--rate 2000"),
        Way::new("hours", {
            file("time,command,feedback", |t, c, f| format!("{:.12},{c:.4},{f:.4}", t / 3600.0))
        })
        .unnamed()
        .with_question("--rate HZ", "--rate 2000"),
        Way::new("times of day", {
            file("time,command [mm],feedback [mm]", |t, c, f| format!("{},{c:.4},{f:.4}", clock(t)))
        }),
        Way::new("no time", file("command [mm],feedback [mm]", |_, c, f| format!("{c:.4},{f:.4}")))
            .with_question("--rate HZ", "--rate 2000"),
        // Names.
        Way::new("Portuguese", {
            comma("Tempo (ms),Posição de referência (mm),Posição real (mm),Velocidade,Erro", with_others)
        }),
        Way::new("Spanish", {
            comma(
                "Tiempo [ms],Consigna de posición [mm],Posición medida [mm],Velocidad de consigna,Error de seguimiento",
                with_others,
            )
        }),
        Way::new("Italian", {
            comma(
                "Tempo [ms],Quota richiesta [mm],Quota effettiva [mm],Velocità,Errore di inseguimento",
                with_others,
            )
        }),
        Way::new("French", {
            comma("Temps [ms],Consigne [mm],Position réelle [mm],Vitesse,Erreur de poursuite", with_others)
        }),
        Way::new("Japanese", file("時間[ms],位置指令[mm],現在位置[mm],速度指令,位置偏差", with_others)),
        Way::new("Chinese", file("时间(ms),给定位置(mm),实际位置(mm),实际速度,跟随误差", with_others)),
        Way::new("CiA objects", file("Time [ms],6062h,6064:00,606Ch,0x60F4", with_others)).unnamed(),
        Way::new("CiA objects with words", {
            let names =
                "Time [ms],Target position (0x607A),Position actual value (0x6064),Target velocity (0x60FF)";
            file(&format!("{names},Following error (0x60F4)"), with_others)
        })
        .unnamed(),
        Way::new(
            "words in brackets",
            file("time [ms],Position (set),Position (actual),Speed (set),e", with_others),
        )
        .unnamed(),
        Way::new("current position", {
            file("time [ms],Target Position,Current Position,Current,Following Error", with_others)
        })
        .unnamed(),
        Way::new(
            "number of the axis",
            file("time [ms],Command[5],Feedback[5],Speed[5],Error[5]", with_others),
        )
        .unnamed(),
        // Columns.
        Way::new("index without a name", {
            file("t [s],command [mm],feedback [mm]", |t, c, f| {
                format!("{:.0},{t:.4},{c:.4},{f:.4}", t / STEP)
            })
        }),
        Way::new("index without a name, no time", {
            file("command [mm],feedback [mm]", |t, c, f| format!("{:.0},{c:.4},{f:.4}", t / STEP + 1.0))
        })
        .with_question("--rate HZ", "--rate 2000"),
        Way::new("a name without a column", file("t [s],command [mm],feedback [mm],remark", seconds)),
        // Units of position.
        Way::new("micrometres", {
            file("t_s,command [um],feedback [um]", |t, c, f| format!("{t:.4},{:.1},{:.1}", c * 1e3, f * 1e3))
        })
        .unit("µm", 1e3),
        Way::new("millimetres and micrometres", {
            file("t_s,command [mm],feedback [um]", |t, c, f| format!("{t:.4},{c:.4},{:.1}", f * 1e3))
        })
        .with_question("--feedback-scale 1/1000", "--feedback-scale 1/1000"),
        Way::new("counts", {
            file("t_s,command,feedback", |t, c, f| format!("{t:.4},{},{}", counts(c), counts(f)))
        })
        .options("--counts-per-unit 10000/3 --unit mm")
        .resolution(3e-4),
        Way::new("counts and millimetres", {
            file("t_s,command [counts],feedback [mm]", |t, c, f| format!("{t:.4},{},{f:.4}", counts(c)))
        })
        .with_question("--command-scale X", "--command-scale 3/10000")
        .resolution(3e-4),
        // Analog signals.
        Way::new("volts", {
            file("time,command,feedback\ns,V,V", |t, c, f| format!("{t:.4},{:.6},{:.6}", c / 2.5, f / 2.5))
        })
        .unit("V", 0.4),
        Way::new("volts of two scales", {
            file("time,command,feedback\ns,V,V", |t, c, f| format!("{t:.4},{:.6},{:.6}", c * 0.3, f / -2.5))
        })
        .options("--command-scale 10/3 --feedback-scale -2.5 --unit mm"),
        Way::new("volts and millimetres", {
            file("time,command,feedback\ns,V,mm", |t, c, f| format!("{t:.4},{:.6},{f:.4}", c / 2.5))
        })
        .with_question("--command-scale X", "--command-scale 2.5"),
        Way::new("volts that are to be millimetres", {
            file("time,command,feedback\ns,V,V", |t, c, f| format!("{t:.4},{:.6},{:.6}", c / 2.5, f / 2.5))
        })
        .options("--unit mm")
        .with_question("--command-scale X --feedback-scale X", "--command-scale 2.5 --feedback-scale 5/2"),
        // Event logs.
        Way::new("event log", log("time [s];tag;value", ["X.SetPos [mm]", "X.ActPos [mm]"], ';', false)),
        Way::new("event log without a header", log("", ["CmdPos", "ActPos"], ',', false)).unnamed(),
        Way::new("event log of other names", log("time [s];tag;value", ["a", "b"], ';', false))
            .unnamed()
            .with_question("--command", "--command a --feedback b"),
        Way::new("event log with the name first", {
            let text = log("tag;t;value", ["Soll", "Ist"], ';', false);
            let swap = |line: &str| {
                let cells: Vec<&str> = line.split(';').collect();
                if cells[0] == "tag" {
                    line.to_owned()
                } else {
                    [cells[1], &clock(cells[0].parse().expect("a time")), cells[2]].join(";")
                }
            };
            text.lines().map(swap).collect::<Vec<_>>().join("\n")
        })
        .unnamed(),
        Way::new("event log with a rate", log("", ["CmdPos", "ActPos"], ',', false))
            .unnamed()
            .options("--rate 2000")
            .with_question("leave --rate out", ""),
        Way::new("event log with units", {
            let text = log("time;Variable;Wert;Einheit", ["Soll", "Ist"], ';', false);
            let unit = |line: &str| if line.contains("Einheit") { line.into() } else { format!("{line};mm") };
            text.lines().map(unit).collect::<Vec<String>>().join("\n")
        }),
        Way::new("event log of a slow command", {
            let text = log("time [s];tag;value", ["Soll [mm]", "Ist [mm]"], ';', false);
            let is_kept = |(line, text): &(usize, &str)| {
                line % 2 == 0 || !text.contains("Soll") || (line - 1) / 2 % 20 == 0
            };
            text.lines().enumerate().filter(is_kept).map(|(_, line)| line).collect::<Vec<_>>().join("\n")
        })
        .resolution(3e-4),
        Way::new("event log of two clocks", {
            let text = log("time [s];tag;value", ["Soll [mm]", "Ist [mm]"], ';', false);
            let late = |line: &str| match line.split_once(';') {
                Some((time, rest)) if rest.starts_with("Soll") => format!("{time}1;{rest}"),
                _ => line.to_owned(),
            };
            text.lines().map(late).collect::<Vec<_>>().join("\n")
        }),
        Way::new("event log of targets", {
            let text = log("time [s];tag;value", ["Soll [mm]", "Ist [mm]"], ';', false);
            // The command is written where it changes, and feedback always.
            let mut before = String::new();
            let is_kept = |line: &&str| {
                let value = line.rsplit_once(';').map_or("", |(_, value)| value);
                !line.contains("Soll") || std::mem::replace(&mut before, value.to_owned()) != value
            };
            text.lines().filter(is_kept).collect::<Vec<_>>().join("\n")
        }),
        Way::new("event log of changes", log("time [s];tag;value", ["Soll [mm]", "Ist [mm]"], ';', true)),
        // Following errors, two clocks, slower signals, turns, noise.
        Way::new("following error", {
            file("t_s,command [mm],following error [mm]", |t, c, f| format!("{t:.4},{c:.4},{:.4}", c - f))
        }),
        Way::new("following error of an unknown name", {
            file("t_s,command [mm],x [mm]", |t, c, f| format!("{t:.4},{c:.4},{:.4}", c - f))
        })
        .with_question("no column name means feedback", "--following-error x"),
        Way::new("following error as feedback", {
            file("t_s,command [mm],feedback [mm]", |t, c, f| format!("{t:.4},{c:.4},{:.4}", c - f))
        })
        .with_question("--following-error COL", "--following-error feedback"),
        Way::new("following error of the other sign in micrometres", {
            file("t_s,command [mm],lag [um]", |t, c, f| format!("{t:.4},{c:.4},{:.1}", 1e3 * (f - c)))
        })
        .with_question("--feedback-scale 1/1000", "--feedback-scale -1/1000"),
        Way::new("two time columns", {
            file("t_cmd [s],cmd [mm],t_fb [s],fb [mm]", |t, c, f| format!("{t:.4},{c:.4},{t:.4},{f:.4}"))
        }),
        Way::new("two time columns of one name", {
            comma("t [ms],Soll [mm],t [ms],Ist [mm]", |t, c, f| {
                format!("{:.1},{c:.4},{:.1},{f:.4}", t * 1e3, t * 1e3)
            })
        }),
        Way::new("command in every fourth row", {
            file("t_s,command [mm],feedback [mm]", |t, c, f| {
                let command = if row(t).is_multiple_of(4) { format!("{c:.4}") } else { String::new() };
                format!("{t:.4},{command},{f:.4}")
            })
        })
        .resolution(1.1e-4),
        Way::new("signals in alternating rows", {
            file("t_s,command [mm],feedback [mm]", |t, c, f| match row(t) % 2 {
                0 => format!("{t:.4},{c:.4},"),
                _ => format!("{t:.4},,{f:.4}"),
            })
        })
        .resolution(1.1e-4),
        Way::new("degrees that begin anew", {
            file("t_s,command [deg],feedback [deg]", |t, c, f| {
                format!("{t:.4},{:.4},{:.4}", turned(c), turned(f))
            })
        })
        .options("--wrap 360")
        .unit("deg", 3.0),
        Way::new("noisy analog command", {
            file("t_s,command [mm],feedback [mm]", |t, c, f| {
                format!("{t:.4},{:.4},{f:.4}", c + noise(row(t)))
            })
        })
        .resolution(2e-3),
    ]
}

/// Start, command end, travel, overshoot and settling time of each move. Unit: s, s, mm, mm, s
type Moves = Vec<[f64; 5]>;

/// The moves of a run; an error without its remedy in it fails.
fn moves(out: &[serde_json::Value], unit: f64) -> Moves {
    let lengths = [1.0, 1.0, 1.0 / unit, 1.0 / unit, 1.0];
    let names = ["start_s", "command_end_s", "travel", "overshoot", "settling_s"];
    let figure = |line: &serde_json::Value, name: &str| line[name].as_f64().unwrap_or(f64::NAN);
    let of_move = |line: &serde_json::Value| core::array::from_fn(|at| figure(line, names[at]) * lengths[at]);
    out.iter().map(of_move).collect()
}

/// Whether both are the same moves, as far as positions of this resolution show. Unit: mm
fn are_alike(found: &Moves, plain: &Moves, resolution: f64) -> bool {
    // Some ways have a clock of another origin, so times count from the first move.
    let middle = |of_move: &[f64; 5]| (of_move[0] + of_move[1]) / 2.0;
    let origin = |moves: &Moves| moves.first().map_or(0.0, middle);
    let shift = origin(found) - origin(plain);
    // A smooth command starts earlier and ends later where it is written more finely; on a clock of its own its end is
    // known to two sample periods.
    let coarse = if resolution > 1e-4 { 0.012 } else { 2.0 * STEP };
    found.len() == plain.len()
        && found.iter().zip(plain).all(|(found, plain)| {
            let differs = |at: usize| (found[at] - plain[at] - shift).abs();
            let lengths = [2, 3].iter().map(|&at| (found[at] - plain[at]).abs()).fold(0.0, f64::max);
            differs(0).max(differs(1)) <= coarse
                && lengths <= 2.0 * resolution
                && (found[4] - plain[4]).abs() <= coarse
        })
}

/// Half-width of the window. Unit: mm
const WINDOW: f64 = 0.02;

#[test]
fn every_way_gives_the_same_moves_or_a_question() {
    let folder = Folder::new("ways");
    folder.write("axis.csv", file("t_s,command [mm],feedback [mm]", seconds));
    let plain = folder.run(&format!("axis.csv --window {WINDOW} --format jsonl"));
    assert_eq!((plain.outcomes().as_str(), plain.stderr.as_str()), ("settled settled settled settled", ""));
    let plain = moves(&plain.lines(), 1.0);
    let exact = SHAPE.2 * STEP / super::PERIOD * (SHAPE.1 / WINDOW).ln();
    assert!(plain.iter().all(|of_move| (of_move[4] - exact).abs() < STEP), "{plain:?}, not {exact}");
    let (mut asked, mut wrong) = (0, Vec::new());
    let ways = ways();
    for way in &ways {
        folder.write("axis.csv", &way.bytes);
        let run = |options: &str| {
            folder.run(&format!("axis.csv --window {} --format jsonl {options}", WINDOW * way.unit.1))
        };
        let mut ran = run(way.options);
        if !way.remedy.0.is_empty() {
            asked += 1;
            if ran.status != 1 || !ran.out.is_empty() || !ran.stderr.contains(way.remedy.0) {
                wrong.push(format!("{}: no question with {}: {ran:?}", way.name, way.remedy.0));
                continue;
            }
            let before = if way.remedy.0.starts_with("leave") { "" } else { way.options };
            ran = run(&format!("{before} {}", way.remedy.1));
        }
        let lines = ran.lines();
        let units = lines.iter().all(|line| line["unit"] == way.unit.0);
        if ran.status != 0 || !units || !are_alike(&moves(&lines, way.unit.1), &plain, way.resolution) {
            wrong.push(format!("{}: {:?}: {}", way.name, moves(&lines, way.unit.1), ran.stderr));
        }
    }
    println!("{} ways, {asked} of them with a question, {} wrong", ways.len(), wrong.len());
    assert!(ways.len() >= 20 && wrong.is_empty(), "{} of {}:\n{}", wrong.len(), ways.len(), wrong.join("\n"));
}

//! `probe:` without hardware. probe-rs's own session, core and RTT code run on a chip of memory; USB, the wire, and
//! writing flash, which needs a chip that runs code, do not.

mod board;
mod chip;
mod deadline;
mod image;

use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};

use probe_rs::Permissions;
use probe_rs::probe::list::{Accessibility, Lister, ProbeListItem, ProbeLister};
use probe_rs::probe::{DebugProbe, DebugProbeError, DebugProbeInfo, DebugProbeSelector, Probe, ProbeFactory};
use stillpoint::command::Commands;
use stillpoint::decode::{Decoder, Said};
use stillpoint::source::probe::{flash, open_through};
use stillpoint::source::{self, Line};
use stillpoint_core::Record;
use stillpoint_core::wire::command::{Apply, Command};

use chip::Chip;
use deadline::in_time;

const STM32: &str = "STM32G474RETx";

/// Probes on this computer, all of them wired to one chip.
#[derive(Debug)]
struct Found {
    chip: Chip,
    access: Vec<Accessibility>,
}

impl ProbeLister for Found {
    fn open(&self, _: &DebugProbeSelector) -> Result<Probe, DebugProbeError> {
        Ok(Probe::new(self.chip.clone()))
    }

    fn list_with_access(&self, _: Option<&DebugProbeSelector>) -> Vec<ProbeListItem> {
        let info = DebugProbeInfo::new("invented", 0x1234, 0x5678, None, &Maker, None, false);
        self.access.iter().map(|&accessibility| ProbeListItem { info: info.clone(), accessibility }).collect()
    }
}

#[derive(Debug)]
struct Maker;

impl std::fmt::Display for Maker {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str("invented")
    }
}

impl ProbeFactory for Maker {
    fn open(&self, _: &DebugProbeSelector) -> Result<Box<dyn DebugProbe>, DebugProbeError> {
        Ok(Box::new(Chip::new()))
    }

    fn list_probes(&self) -> Vec<ProbeListItem> {
        vec![]
    }
}

fn lister(chip: &Chip, access: &[Accessibility]) -> Lister {
    Lister::with_lister(Box::new(Found { chip: chip.clone(), access: access.to_vec() }))
}

/// Where words of the log go in these tests.
#[derive(Clone, Default)]
struct Words(Arc<Mutex<Vec<u8>>>);

impl Write for Words {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().expect("words").write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Words {
    fn wait_for(&self, count: usize) -> String {
        loop {
            let text = String::from_utf8(self.0.lock().expect("words").clone()).expect("text");
            if text.lines().count() >= count {
                return text;
            }
        }
    }
}

fn open(chip: &Chip, image: Option<&Path>, words: &Words) -> Result<Line, stillpoint::error::Error> {
    open_through(&lister(chip, &[Accessibility::Accessible]), STM32, image, Box::new(words.clone()))
}

fn keep(moves: &mut Vec<(u8, Record)>, said: &Said) {
    if let Said::Move(told) = said {
        moves.push((told.axis, told.record));
    }
}

/// The moves of so many seconds, told without a probe.
fn truth(seconds: f64) -> Vec<(u8, Record)> {
    let (mut monitor, mut bytes, mut moves) = (board::monitor(), vec![], vec![]);
    while monitor.seconds() < seconds {
        monitor.step(&mut bytes);
    }
    Decoder::default().take(&bytes, &mut |said| keep(&mut moves, &said));
    moves
}

/// Reads until something is said.
fn read_until(reader: &mut dyn Read, decoder: &mut Decoder, enough: &mut dyn FnMut(&Said) -> bool) {
    let (mut done, mut bytes) = (false, [0; 4096]);
    while !done {
        let count = reader.read(&mut bytes).expect("the probe is read");
        assert!(count > 0, "the line goes on");
        decoder.take(&bytes[..count], &mut |said| done |= enough(&said));
    }
}

#[test]
fn moves_arrive_and_commands_get_through_while_the_chip_runs_on() {
    in_time(|| {
        let (truth, chip) = (truth(30.0), Chip::new());
        board::lay(&chip);
        let Line { mut reader, writer } = open(&chip, None, &Words::default()).expect("the chip answers");
        let running = board::run(chip.clone(), 30.0);
        let (mut writer, mut commands) = (writer.expect("a probe takes commands"), Commands::new(1));
        let mut say = |command| writer.write_all(&commands.bytes(&command)).expect("the probe takes it");
        let (mut decoder, mut moves, mut parameters) = (Decoder::default(), vec![], None);
        say(Command::Identify);
        read_until(&mut *reader, &mut decoder, &mut |said| {
            keep(&mut moves, said);
            if let Said::Settings(settings) = said
                && settings.axis == 1
            {
                parameters = Some(settings.parameters);
            }
            moves.len() == truth.len()
        });
        assert!(truth.len() > 50 && moves == truth, "{} moves of {}", moves.len(), truth.len());
        let mut parameters = parameters.expect("settings are told");
        parameters.window += 7;
        say(Command::Apply(Apply { axis: 1, parameters }));
        let applied = &mut |said: &Said| matches!(said, Said::Settings(one) if one.parameters == parameters);
        read_until(&mut *reader, &mut decoder, applied);
        assert_eq!(decoder.counts().lost, 0);
        drop((reader, running));
        let memory = chip.memory();
        assert_eq!((memory.halts, memory.resets), (1, 0), "halted while attaching, and never again");
    });
}

#[test]
fn an_image_tells_where_the_rings_are_and_what_the_log_says() {
    in_time(|| {
        let (chip, words) = (Chip::new(), Words::default());
        board::lay(&chip);
        // What an earlier program left stops a search, but not the image's place.
        chip.memory().set(board::BLOCK - 0x100, b"SEGGER RTT\0\0\0\0\0\0");
        let searched = open(&chip, None, &words).err().expect("an old block").to_string();
        assert!(searched.contains("no monitor's") && searched.contains("--image IMAGE.elf"), "{searched}");
        let path = image::write("log", board::BLOCK);
        board::log(&chip, &[image::started(3), vec![1, 2, 0], image::started(65_536)].concat());
        let line = open(&chip, Some(&path), &words).expect("the chip answers");
        let told = words.wait_for(3);
        drop(line);
        std::fs::remove_file(path).ok();
        let lines = [
            "log, info: started with 3 axes",
            "log: 3 bytes are spoiled, or of another image",
            "log, info: started with 65536 axes",
        ];
        assert_eq!(told.lines().collect::<Vec<_>>(), lines);
    });
}

#[test]
fn a_chip_that_starts_over_is_heard_again_and_one_that_is_gone_is_told() {
    in_time(|| {
        let chip = Chip::new();
        board::lay(&chip);
        let Line { mut reader, .. } = open(&chip, None, &Words::default()).expect("the chip answers");
        let mut bytes = [0; 16];
        for said in [b"before".as_slice(), b"after", b"later"] {
            board::FRAMES.put(&chip, said);
            reader.read_exact(&mut bytes[..said.len()]).expect("it is heard");
            assert_eq!(&bytes[..said.len()], said);
            if said == b"before" {
                board::lay(&chip);
            }
        }
        chip.memory().answers = false;
        let error = reader.read(&mut bytes).expect_err("nobody answers");
        let words = source::failed("probe:x", error).to_string();
        assert!(words.starts_with("probe:x: the monitor no longer answers: "), "{words}");
        assert!(words.contains("no answer on the wire") && words.ends_with("start anew"), "{words}");
        assert_eq!(reader.read(&mut bytes).expect("the end"), 0);
    });
}

#[test]
fn commands_wait_for_room() {
    in_time(|| {
        let chip = Chip::new();
        board::lay(&chip);
        let Line { reader, writer } = open(&chip, None, &Words::default()).expect("the chip answers");
        let sent: Vec<u8> = (0..1000_u32).map(|number| number as u8).collect();
        writer.expect("it hears").write_all(&sent).expect("it takes all");
        let mut heard = vec![];
        while heard.len() < sent.len() {
            heard.extend(board::COMMANDS.take(&chip));
        }
        assert_eq!(heard, sent);
        drop(reader);
    });
}

#[test]
fn a_written_image_is_started_by_a_reset() {
    in_time(|| {
        let chip = Chip::new();
        let mut session = Probe::new(chip.clone()).attach(STM32, Permissions::default()).expect("a session");
        flash::restart(&mut session).expect("it starts");
        assert_eq!(chip.memory().resets, 1);
    });
}

#[test]
fn errors_tell_what_to_do() {
    use Accessibility::{Accessible, PermissionDenied};
    let junk = std::env::temp_dir().join(format!("stillpoint-{}-junk.elf", std::process::id()));
    std::fs::write(&junk, b"no image").expect("a scratch file");
    let unlaid =
        "no monitor runs on the chip: its RTT block was not found in memory; write the monitor's image";
    for (name, access, image, status, parts) in [
        (STM32, &[][..], None, 1, &["probe:STM32G474RETx: no debug probe is connected; connect"][..]),
        (STM32, &[Accessible; 2], None, 1, &["2 debug probes are connected: invented", "unplug all but one"]),
        (STM32, &[PermissionDenied], None, 1, &["may not be opened", "udev rule for 1234:5678"]),
        (STM32, &[Accessible], None, 1, &[unlaid]),
        (STM32, &[Accessible], Some(junk.as_path()), 2, &["junk.elf: is no ELF file", "that cargo built"]),
        (STM32, &[Accessible], Some(Path::new("gone.elf")), 1, &["gone.elf: can't be read"]),
        ("STM32G474REXT", &[Accessible], None, 2, &["is no chip that is known", "STM32G474RETx"]),
        ("STM32G474R", &[Accessible], None, 2, &["names more than one chip; say which: ", "STM32G474RETx"]),
    ] {
        let opened = open_through(&lister(&Chip::new(), access), name, image, Box::new(io::sink()));
        let error = opened.err().expect("it can't be opened");
        let words = error.to_string();
        assert!(parts.iter().all(|part| words.contains(part)), "{words}");
        assert_eq!(error.status(), status, "{words}");
        println!("{words}");
    }
    std::fs::remove_file(junk).ok();
}

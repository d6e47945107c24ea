//! `probe:` without hardware. probe-rs's own session, core and RTT code run on simulated memory; not covered are USB, the
//! wire, and writing flash, which needs a chip that runs code.

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
use stillpoint::command::CommandEncoder;
use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::source::probe::{flash, open_through};
use stillpoint::source::{self, Connection};
use stillpoint_core::Record;
use stillpoint_core::wire::command::{Apply, Command};

use chip::Chip;
use deadline::in_time;

const STM32: &str = "STM32G474RETx";

/// Connected probes, all of them wired to one chip.
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

/// Output of the log in these tests.
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

fn open(chip: &Chip, image: Option<&Path>, words: &Words) -> Result<Connection, stillpoint::error::Error> {
    open_through(&lister(chip, &[Accessibility::Accessible]), STM32, image, Box::new(words.clone()))
}

fn add_move(moves: &mut Vec<(u8, Record)>, event: &DeviceEvent) {
    if let DeviceEvent::Move(decoded) = event {
        moves.push((decoded.axis, decoded.record));
    }
}

/// The moves of this time, decoded without a probe. Unit: s
fn truth(seconds: f64) -> Vec<(u8, Record)> {
    let (mut monitor, mut bytes, mut moves) = (board::monitor(), vec![], vec![]);
    while monitor.seconds() < seconds {
        monitor.step(&mut bytes);
    }
    Decoder::default().push(&bytes, &mut |event| add_move(&mut moves, &event));
    moves
}

/// Reads until `enough` returns true.
fn read_until(reader: &mut dyn Read, decoder: &mut Decoder, enough: &mut dyn FnMut(&DeviceEvent) -> bool) {
    let (mut done, mut bytes) = (false, [0; 4096]);
    while !done {
        let count = reader.read(&mut bytes).expect("the probe is read");
        assert!(count > 0, "the connection is open");
        decoder.push(&bytes[..count], &mut |event| done |= enough(&event));
    }
}

#[test]
fn moves_and_commands_are_transferred_while_the_chip_runs() {
    in_time(|| {
        let (truth, chip) = (truth(30.0), Chip::new());
        board::lay_out(&chip);
        let Connection { mut reader, writer, .. } =
            open(&chip, None, &Words::default()).expect("the chip answers");
        let running = board::run(chip.clone(), 30.0);
        let (mut writer, mut commands) = (writer.expect("a probe takes commands"), CommandEncoder::new(1));
        let mut send = |command| writer.write_all(&commands.encode(&command)).expect("the probe accepts it");
        let (mut decoder, mut moves, mut parameters) = (Decoder::default(), vec![], None);
        send(Command::Identify);
        read_until(&mut *reader, &mut decoder, &mut |event| {
            add_move(&mut moves, event);
            if let DeviceEvent::Settings(settings) = event
                && settings.axis == 1
            {
                parameters = Some(settings.parameters);
            }
            moves.len() == truth.len()
        });
        assert!(truth.len() > 50 && moves == truth, "{} moves of {}", moves.len(), truth.len());
        let mut parameters = parameters.expect("settings are reported");
        parameters.window += 7;
        send(Command::Apply(Apply { axis: 1, parameters }));
        let applied = &mut |event: &DeviceEvent| matches!(event, DeviceEvent::Settings(one) if one.parameters == parameters);
        read_until(&mut *reader, &mut decoder, applied);
        assert_eq!(decoder.counts().lost, 0);
        drop((reader, running));
        let memory = chip.memory();
        assert_eq!((memory.halts, memory.resets), (1, 0), "halted while attaching, and never again");
    });
}

#[test]
fn an_image_gives_the_address_of_the_rings_and_the_texts_of_the_log() {
    in_time(|| {
        let (chip, words) = (Chip::new(), Words::default());
        board::lay_out(&chip);
        // A block left by an earlier program makes the search fail, but not the address from the image.
        chip.memory().set(board::BLOCK - 0x100, b"SEGGER RTT\0\0\0\0\0\0");
        let searched = open(&chip, None, &words).err().expect("an old block").to_string();
        assert!(
            searched.contains("not that of a monitor") && searched.contains("--image IMAGE.elf"),
            "{searched}"
        );
        let path = image::write("log", board::BLOCK);
        board::log(&chip, &[image::started(3), vec![1, 2, 0], image::started(65_536)].concat());
        let line = open(&chip, Some(&path), &words).expect("the chip answers");
        let text = words.wait_for(3);
        drop(line);
        std::fs::remove_file(path).ok();
        let lines = [
            "log, info: started with 3 axes",
            "log: 3 bytes are damaged, or of another image",
            "log, info: started with 65536 axes",
        ];
        assert_eq!(text.lines().collect::<Vec<_>>(), lines);
    });
}

#[test]
fn a_restarted_chip_is_found_again_and_a_lost_one_is_reported() {
    in_time(|| {
        let chip = Chip::new();
        board::lay_out(&chip);
        let Connection { mut reader, .. } = open(&chip, None, &Words::default()).expect("the chip answers");
        let mut bytes = [0; 16];
        for sent in [b"before".as_slice(), b"after", b"later"] {
            board::FRAMES.put(&chip, sent);
            reader.read_exact(&mut bytes[..sent.len()]).expect("the bytes are read");
            assert_eq!(&bytes[..sent.len()], sent);
            if sent == b"before" {
                board::lay_out(&chip);
            }
        }
        chip.memory().answers = false;
        let error = reader.read(&mut bytes).expect_err("nobody answers");
        let words = source::connection_error("probe:x", error).to_string();
        assert!(words.starts_with("probe:x: the monitor no longer answers: "), "{words}");
        assert!(
            words.contains("no answer on the wire") && words.ends_with("restart this command"),
            "{words}"
        );
        assert_eq!(reader.read(&mut bytes).expect("the end"), 0);
    });
}

#[test]
fn commands_wait_for_room() {
    in_time(|| {
        let chip = Chip::new();
        board::lay_out(&chip);
        let Connection { reader, writer, .. } =
            open(&chip, None, &Words::default()).expect("the chip answers");
        let sent: Vec<u8> = (0..1000_u32).map(|number| number as u8).collect();
        writer.expect("commands are accepted").write_all(&sent).expect("all bytes are accepted");
        let mut received = vec![];
        while received.len() < sent.len() {
            received.extend(board::COMMANDS.read(&chip));
        }
        assert_eq!(received, sent);
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
fn errors_have_a_remedy() {
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
        (
            STM32,
            &[Accessible],
            Some(junk.as_path()),
            2,
            &["junk.elf: is not an ELF file", "that cargo built"],
        ),
        (STM32, &[Accessible], Some(Path::new("gone.elf")), 1, &["gone.elf: can't be read"]),
        ("STM32G474REXT", &[Accessible], None, 2, &["is an unknown chip", "STM32G474RETx"]),
        (
            "STM32G474R",
            &[Accessible],
            None,
            2,
            &["names more than one chip; choose one of: ", "STM32G474RETx"],
        ),
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

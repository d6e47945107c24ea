//! What was on its way, is sent again or comes by itself is no answer to a request.

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, AlarmState};
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::drift::{Restart, RestartReason};
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::settings::{self, Settings};
use stillpoint_core::wire::status::{Hello, Status};

use super::*;

fn status(last_command: u32) -> Message<'static> {
    Message::Status(Status { last_command: Some(last_command), ..Status::default() })
}

fn of(axis: u8, parameters: settings::Parameters) -> Settings {
    Settings { axis, parameters, ..Settings::default() }
}

fn acknowledged(alarm: u32) -> Message<'static> {
    let (event, state) = (AlarmEvent::Acknowledge, AlarmState::Acknowledged);
    Message::Alarm(Alarm { alarm, axis: 1, event, state, ..Alarm::default() })
}

/// What this monitor sends when it reads a command: first what is no answer, then the answer. True marks what is sent
/// again. An earlier host has sent it a few commands.
fn answers(command: &Command, number: u32) -> Vec<(bool, Message<'static>)> {
    let before = (&Parameters { window: 50, ..Parameters::at(1_000_000) }).into();
    let restarted = |why| Message::Restart(Restart { axis: 1, why, ..Restart::default() });
    let mut all: Vec<(bool, Message<'static>)> = (0..4).map(|earlier| (false, status(earlier))).collect();
    let live = |message| (false, message);
    let again = |message| (true, message);
    match *command {
        Command::Identify => {
            let hello = Hello { axes: 2, ticks_per_second: 1_000_000, ..Hello::default() };
            let settings = [0, 1].map(|axis| live(Message::Settings(of(axis, before))));
            all.push(live(Message::Hello(hello)));
            all.extend(settings);
        }
        Command::DumpSince(_) => all.push(live(status(number))),
        Command::Apply(apply) => {
            let refused = Settings { refused: Some(2), ..of(1, before) };
            all.extend([
                again(Message::Settings(refused)),
                live(Message::Settings(of(0, apply.parameters))),
                live(Message::Settings(of(1, before))),
                live(Message::Settings(Settings { pending: true, ..of(1, apply.parameters) })),
            ]);
        }
        Command::Acknowledge(_) => {
            all.extend([again(acknowledged(3)), live(acknowledged(4)), live(status(number))])
        }
        Command::Declare(_) => all.extend([
            again(restarted(RestartReason::Declared)),
            live(restarted(RestartReason::Warm)),
            live(status(number)),
        ]),
        _ => (),
    }
    all
}

/// A monitor that answers so.
fn monitor() -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let (mut stream, mut received) = (stream.expect("a connection"), [0; 256]);
            let mut receiver = Receiver::<FastCrc>::new(Direction::FromHost);
            let mut numbers = Numbers::new(Direction::FromDevice, 9);
            while let Ok(count @ 1..) = stream.read(&mut received) {
                let mut remaining = &received[..count];
                while let Some(event) = receiver.step(&mut remaining) {
                    let Event::Frame(frame) = event else { continue };
                    let command = frame.read::<Command>().expect("a command").payload;
                    for (replay, message) in answers(&command, frame.header.sequence) {
                        let mut header = numbers.next_header(message.priority());
                        header.replay = replay;
                        let mut buffer = [0; LONGEST_FRAME];
                        stream
                            .write_all(encode::<FastCrc>(&header, &message, &mut buffer).expect("it fits"))
                            .ok();
                    }
                }
            }
        }
    });
    place
}

#[test]
fn what_is_sent_again_or_comes_by_itself_is_no_answer() {
    let place = monitor();
    check(&place, "settings 1 window=60", 0, "axis 1, from the next move on: window 50 -> 60");
    let refused = "can't acknowledge alarm 3: it is normal or does not exist; alarms that are not normal: 4";
    check(&place, "acknowledge 3", 1, refused);
    let kinds = "store its frames with `stillpoint watch --store`; `stillpoint moves` then prints the kinds";
    check(
        &place,
        "declare 1",
        1,
        &format!("axis 1 can't be declared good: it has made no move yet; {kinds}"),
    );
}

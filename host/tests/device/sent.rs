//! Commands sent to a monitor: none for wrong arguments.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::receive::{Event, Receiver};

use super::*;

/// A monitor, and the number of commands that it received.
fn counted() -> (String, Arc<AtomicUsize>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    let sent = Arc::new(AtomicUsize::new(0));
    let count = sent.clone();
    std::thread::spawn(move || {
        let (mut monitor, mut sent, mut received) = (monitor(), [0; 4096], [0; 256]);
        for stream in listener.incoming() {
            let (mut stream, mut receiver) =
                (stream.expect("a connection"), Receiver::<FastCrc>::new(Direction::FromHost));
            while let Ok(bytes @ 1..) = stream.read(&mut received) {
                let mut remaining = &received[..bytes];
                while let Some(event) = receiver.step(&mut remaining) {
                    count.fetch_add(usize::from(matches!(event, Event::Frame(_))), Ordering::SeqCst);
                }
                monitor.receive(&received[..bytes]);
                while let bytes @ 1.. = monitor.transmit(&mut sent) {
                    stream.write_all(&sent[..bytes]).ok();
                }
            }
        }
    });
    (place, sent)
}

#[test]
fn wrong_arguments_are_not_sent() {
    let (place, sent) = counted();
    for (request, status, commands) in [
        ("arrange 1 unsettled", 0, 2),
        ("arrange 1 unsettled latching=true", 0, 3),
        ("arrange 1 unsettled latch=true", 2, 1),
        ("arrange 1 unsettled latching=perhaps", 2, 1),
        ("settings 1 widow=5", 2, 1),
        ("settings 1 window=much", 2, 1),
    ] {
        sent.store(0, Ordering::SeqCst);
        let scratch = Scratch::filled("sent");
        let store = scratch.0.display().to_string();
        let words = ["device", &place].into_iter().chain(request.split(' '));
        let words: Vec<&str> = words.chain(["--store", &store, "--who", "M. Ito"]).collect();
        assert_eq!(stillpoint(&words).status.code(), Some(status), "{request}");
        // The first command is Identify.
        assert_eq!(sent.load(Ordering::SeqCst), commands, "{request}");
    }
}

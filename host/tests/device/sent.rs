//! What is sent to a monitor: nothing that can't be meant.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::receive::{Event, Receiver};

use super::*;

/// A monitor, and how many commands it was sent.
fn counted() -> (String, Arc<AtomicUsize>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    let sent = Arc::new(AtomicUsize::new(0));
    let count = sent.clone();
    std::thread::spawn(move || {
        let (mut monitor, mut said, mut heard) = (monitor(), [0; 4096], [0; 256]);
        for line in listener.incoming() {
            let (mut line, mut receiver) =
                (line.expect("a line"), Receiver::<LargeTable>::new(Direction::FromHost));
            while let Ok(bytes @ 1..) = line.read(&mut heard) {
                let mut left = &heard[..bytes];
                while let Some(event) = receiver.step(&mut left) {
                    count.fetch_add(usize::from(matches!(event, Event::Frame(_))), Ordering::SeqCst);
                }
                monitor.receive(&heard[..bytes]);
                while let bytes @ 1.. = monitor.transmit(&mut said) {
                    line.write_all(&said[..bytes]).ok();
                }
            }
        }
    });
    (place, sent)
}

#[test]
fn what_cannot_be_meant_is_not_sent() {
    let (place, sent) = counted();
    for (question, status, commands) in [
        ("arrange 1 unsettled", 0, 2),
        ("arrange 1 unsettled latching=true", 0, 3),
        ("arrange 1 unsettled latch=true", 2, 1),
        ("arrange 1 unsettled latching=perhaps", 2, 1),
        ("settings 1 widow=5", 2, 1),
        ("settings 1 window=much", 2, 1),
    ] {
        sent.store(0, Ordering::SeqCst);
        let words: Vec<&str> = ["device", &place].into_iter().chain(question.split(' ')).collect();
        assert_eq!(stillpoint(&words).status.code(), Some(status), "{question}");
        // The first asks who it is.
        assert_eq!(sent.load(Ordering::SeqCst), commands, "{question}");
    }
}

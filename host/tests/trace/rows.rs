//! In: recordings with bad rows, holes, joins and large numbers. Out: whether every good row is read and every other reported.

use super::{check, check_note, head, options, read};
use stillpoint::trace::{Choice, Fault, Row, Trace};

#[test]
fn bad_rows_are_gaps_and_good_rows_are_read() {
    let start = "2@0=0 2:0/0/0 3:1000/1/1 4:2000/2/2 5:3000/3/3";
    for (line, fault) in [
        ("0.004,x,4", "command holds 'x', which is not a number (column 'command')"),
        ("0.004,4,", "feedback holds '', which is not a number"),
        ("0.004,4", "the row ends before feedback (column 'feedback')"),
        ("NaN,4,4", "time holds 'NaN'"),
        ("0.004,inf,4", "command holds 'inf'"),
        ("0.003,4,4", "time 0.003 s does not continue from 0.003 s (column 't')"),
        ("0.001,4,4", "time 0.001 s does not continue from 0.003 s"),
        ("9,4,4", "time 9 s does not continue"),
        ("garbage", "time holds 'garbage'"),
        ("\0\0\0", "time holds"),
        ("0.004,4,1e300", "feedback holds '1e300'"),
        ("1e18,4,4", "time 1000000000000000000 is beyond 2^62 ticks"),
        ("\"0.004,4,4", "time holds"),
    ] {
        let read = check(&format!("{}{line}\n0.005,5,5\n", head(4)), &[], &format!("{start} 6! 7:5000/5/5"));
        assert_eq!(read.faults.count, 1, "{line:?}");
        let (at, words) = &read.faults.first[0];
        assert!(*at == 6 && words.contains(fault), "{line:?} gives {words:?}");
    }
    for line in ["", "   ", ",,", "# a remark", "t,command,feedback"] {
        let read = check(&format!("{}{line}\n0.004,4,4\n", head(4)), &[], &format!("{start} 7:4000/4/4"));
        assert_eq!(read.faults.count, 0, "{line:?}");
        // In the place of a row, it is a hole.
        let read = check(&format!("{}{line}\n0.005,5,5\n", head(4)), &[], &format!("{start} 7! 7:5000/5/5"));
        assert!(read.faults.first[0].1.contains("no rows for 0.002000 s"), "{line:?}");
    }
    for incomplete in ["0.004,4", "0.004,4,", "0"] {
        check_note(&check(&format!("{}{incomplete}", head(4)), &[], start), "incomplete");
    }
}

#[test]
fn joined_files_and_holes_keep_every_row() {
    let start = "2@0=0 2:0/0/0 3:1000/1/1 4:2000/2/2";
    let joined = format!("{start} 6! 6@3000=0 6:3000/0/0 7:4000/1/1 8:5000/2/2");
    let read = check(&format!("{}{}", head(3), head(3)), &[], &joined);
    assert!(read.faults.first[0].1.contains("time starts again at 0 s after 0.002 s"), "{}", read.faults);
    let hole = format!("{}0.5,9,9\n0.501,9,9\n", head(3));
    let read = check(&hole, &[], &format!("{start} 5! 5:500000/9/9 6:501000/9/9"));
    assert!(read.faults.first[0].1.contains("no rows for 0.498000 s"), "{}", read.faults);
    let pause = format!("{}\n5000.5,9,9\n", head(3));
    check(&pause, &[], &format!("{start} 6! 6@3000=5000.5 6:3000/9/9"));
    let even = [("rate", "10"), ("command", "1"), ("feedback", "2")];
    check("c,f\n0,0\nx,0\n2,2", &even, "2@0=0 2:0/0/0 3! 4:200000/2/2");
    check("0,0\nx,0\n2,2\n3,3", &even, "1@0=0 1:0/0/0 2! 3:200000/2/2 4:300000/3/3");
}

#[test]
fn one_row_is_enough_for_a_hole_whatever_the_clock() {
    let rows = |times: &mut dyn Iterator<Item = f64>| -> usize {
        let text = times.map(|time| format!("{time:.3},0,0\n")).collect::<String>();
        let read = read(format!("t_s,command,feedback\n{text}"), &Choice::default()).unwrap();
        read.rows.iter().filter(|row| matches!(row, Row::Gap { fault: Fault::Hole { .. }, .. })).count()
    };
    let even = |period: f64| (0..3000).map(move |row| f64::from(row) * period);
    assert_eq!(rows(&mut even(0.001)), 0);
    assert_eq!(
        rows(&mut (0..3000).filter(|row| ![700, 1901].contains(row)).map(|row| f64::from(row) * 0.001)),
        2
    );
    // Stamps rounded to a millisecond.
    assert_eq!(rows(&mut even(0.0009)), 0, "some repeat");
    assert_eq!(rows(&mut even(0.0013)), 0);
    assert_eq!(rows(&mut even(0.00101)), 0);
    // A recorder under another operating system's scheduling: 1 ms, and up to 1 ms late.
    assert_eq!(
        rows(&mut (0..3000).map(|row| f64::from(row) * 0.001 + f64::from(row * 7919 % 10) * 0.0001)),
        0
    );
}

#[test]
fn notes_report_automatic_decisions() {
    let rate = read(head(3), &options(&[("rate", "1000")])).unwrap();
    check_note(&rate, "time column 't' is not used");
    let unit = read(head(3).replace("command", "command [mm]"), &Choice::default()).unwrap();
    check_note(&unit, "both are taken as mm");
    let unit = read(head(3).replace("command", "command [mm]"), &options(&[("unit", "deg")])).unwrap();
    check_note(&unit, "--unit says deg");
    let counts = read(head(3).replace("command", "command [mm]"), &options(&[("counts", "5")])).unwrap();
    check_note(&counts, "taken as counts");
    let coarse = read(format!("{}0.002,3,3\n", head(3)), &Choice::default()).unwrap();
    check_note(&coarse, "time stamps repeat");
    let slow = read("t_s,cmd,act\n0,1,1\n5,2,1\n", &Choice::default()).unwrap();
    check_note(&slow, "check the unit of time");
}

/// Returns a head and then fails, like a medium that is pulled out.
struct Pulled(usize);

impl std::io::Read for Pulled {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let text = head(200_000).into_bytes();
        let count = out.len().min(text.len() - self.0).min(100_000);
        out[..count].copy_from_slice(&text[self.0..self.0 + count]);
        self.0 += count;
        if self.0 > 2_000_000 { Err(std::io::Error::other("pulled out")) } else { Ok(count) }
    }
}

#[test]
fn rows_before_a_read_error_are_returned() {
    let mut trace = Trace::from_reader("axis.csv", Pulled(0), &Choice::default()).unwrap();
    let (mut block, mut count) = (Vec::new(), 0);
    let error = loop {
        let more = trace.next_block(&mut block);
        count += block.len();
        match more {
            Ok(true) => {}
            Ok(false) => panic!("the error was not reported"),
            Err(error) => break error.to_string(),
        }
    };
    assert!(error.contains("axis.csv") && error.contains("pulled out"), "{error}");
    assert!(count > 90_000, "{count}");
}

#[test]
fn counts_of_any_size_wrap_and_units_do_not() {
    let counts = "t,cmd_counts,pos_counts\n0,2147483647,0\n0.001,2147483648,-2147483649\n";
    check_note(&check(counts, &[], "2@0=0 2:0/2147483647/0 3:1000/-2147483648/2147483647"), "wrap");
    let floats = "t,cmd,fb\n0,0,0.955336489125606\n0.001,0,0.8903162807024191\n";
    check_note(&check(floats, &[], "2@0=0 2:0/0/955336489 3:1000/0/890316281"), "decimals");
}

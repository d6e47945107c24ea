//! In: a reader of bytes. Out: its lines with their numbers, in bounded memory.

use memchr::{memchr, memchr_iter};
use std::io::{self, Read};

/// Size of the buffer during detection, and length of the longest line. Unit: bytes
pub(crate) const HEAD: usize = 1 << 20;

/// Size of later reads, which fits the processor's cache. Unit: bytes
const BLOCK: usize = 1 << 18;

/// Length of the prefix returned for a line that is too long. Unit: bytes
const PREFIX: usize = 64;

/// End of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// A line end.
    Whole,
    /// The end of the file; the line may be incomplete.
    Last,
    /// The line is longer than [`HEAD`]; only its first bytes are returned.
    TooLong,
}

/// One line without its line end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct TextLine<'a> {
    /// Its bytes.
    pub(crate) bytes: &'a [u8],
    /// Its number in the file, from 1.
    pub(crate) number: u64,
    /// How it ended.
    pub(crate) end: End,
}

/// Splits a reader into lines. The line end is `\n` with or without `\r`, or `\r` alone if there is no `\n`.
pub(crate) struct TextLines<R> {
    reader: R,
    buffer: Vec<u8>,
    start: usize,
    finish: usize,
    ended: bool,
    number: u64,
    terminator: u8,
}

impl<R: Read> TextLines<R> {
    /// Reads the head of the file, which is examined before the lines are read.
    pub(crate) fn new(reader: R) -> io::Result<TextLines<R>> {
        let mut lines = TextLines {
            reader,
            buffer: vec![0; HEAD],
            start: 0,
            finish: 0,
            ended: false,
            number: 0,
            terminator: b'\n',
        };
        while !lines.ended && lines.finish < HEAD {
            lines.read(HEAD)?;
        }
        if memchr(b'\n', lines.head()).is_none() && memchr(b'\r', lines.head()).is_some() {
            lines.terminator = b'\r';
        }
        Ok(lines)
    }

    /// The buffered bytes: whole lines, and possibly a part of one at the end.
    pub(crate) fn head(&self) -> &[u8] {
        &self.buffer[self.start..self.finish]
    }

    /// Whether [`head`](Self::head) reaches the end of the file.
    pub(crate) fn is_whole(&self) -> bool {
        self.ended
    }

    /// The byte that ends a line.
    pub(crate) fn terminator(&self) -> u8 {
        self.terminator
    }

    /// Skips `bytes` bytes, which contain `lines` lines.
    pub(crate) fn skip(&mut self, bytes: usize, lines: u64) {
        self.start = (self.start + bytes).min(self.finish);
        self.number += lines;
    }

    /// The next line and its number, if it is completely buffered; otherwise call [`next`](Self::next).
    #[inline(always)]
    pub(crate) fn buffered(&mut self) -> Option<(&[u8], u64)> {
        let begin = self.start;
        let at = memchr(self.terminator, &self.buffer[begin..self.finish])?;
        self.start += at + 1;
        self.number += 1;
        Some((without_return(&self.buffer[begin..begin + at]), self.number))
    }

    /// The next line, or `None` at the end of the file.
    pub(crate) fn next(&mut self) -> io::Result<Option<TextLine<'_>>> {
        while memchr(self.terminator, self.head()).is_none() {
            if self.ended || self.head().len() >= HEAD {
                return self.unterminated();
            }
            self.refill()?;
        }
        Ok(self.buffered().map(|(bytes, number)| TextLine { bytes, number, end: End::Whole }))
    }

    /// The buffered bytes have no line end: the file or the buffer ends first.
    #[cold]
    fn unterminated(&mut self) -> io::Result<Option<TextLine<'_>>> {
        let (begin, finish) = (self.start, self.finish);
        if begin == finish {
            return Ok(None);
        }
        self.start = finish;
        self.number += 1;
        let number = self.number;
        if self.ended {
            let bytes = without_return(&self.buffer[begin..finish]);
            return Ok(Some(TextLine { bytes, number, end: End::Last }));
        }
        self.discard()?;
        Ok(Some(TextLine { bytes: &self.buffer[..PREFIX], number, end: End::TooLong }))
    }

    /// Discards bytes up to and including the next line end. The buffer is full and begins with the line.
    fn discard(&mut self) -> io::Result<()> {
        while !self.ended {
            self.finish = PREFIX;
            self.read(HEAD)?;
            if let Some(at) = memchr(self.terminator, &self.buffer[PREFIX..self.finish]) {
                self.start = PREFIX + at + 1;
                return Ok(());
            }
        }
        self.start = self.finish;
        Ok(())
    }

    /// Moves the buffered bytes to the front and reads more.
    #[cold]
    fn refill(&mut self) -> io::Result<()> {
        self.buffer.copy_within(self.start..self.finish, 0);
        self.finish -= self.start;
        self.start = 0;
        let room = if self.finish < BLOCK { BLOCK } else { HEAD };
        self.read(room)
    }

    fn read(&mut self, room: usize) -> io::Result<()> {
        match self.reader.read(&mut self.buffer[self.finish..room]) {
            Ok(0) => self.ended = true,
            Ok(count) => self.finish += count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
        Ok(())
    }
}

/// The lines of a piece of a file with their offsets; the last one may be incomplete.
pub(crate) fn split(piece: &[u8], terminator: u8) -> impl Iterator<Item = (usize, &[u8])> {
    let ends = memchr_iter(terminator, piece).chain((!piece.is_empty()).then_some(piece.len()));
    let mut start = 0;
    ends.filter_map(move |end| {
        let begin = core::mem::replace(&mut start, end + 1);
        (begin < piece.len()).then(|| (begin, without_return(&piece[begin..end])))
    })
}

#[inline]
fn without_return(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Returns a few bytes at a time, like a pipe.
    struct Drip<'a>(&'a [u8], usize);

    impl Read for Drip<'_> {
        fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
            let count = self.1.min(self.0.len()).min(out.len());
            out[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }

    fn all(text: &[u8], step: usize) -> Vec<(Vec<u8>, u64, End)> {
        let mut lines = TextLines::new(Drip(text, step)).unwrap();
        let mut out = Vec::new();
        while let Some(line) = lines.next().unwrap() {
            out.push((line.bytes.to_vec(), line.number, line.end));
        }
        out
    }

    #[track_caller]
    fn check(text: &str, expected: &[&str], last: End) {
        for step in [1, 3, 1 << 20] {
            let found = all(text.as_bytes(), step);
            let bytes: Vec<&[u8]> = found.iter().map(|line| &line.0[..]).collect();
            assert_eq!(bytes, expected.iter().map(|line| line.as_bytes()).collect::<Vec<_>>(), "{text:?}");
            assert!(found.iter().zip(1..).all(|(line, number)| line.1 == number));
            assert!(found.last().is_none_or(|line| line.2 == last), "{text:?}");
            let cut: Vec<&[u8]> = split(text.as_bytes(), if text.contains('\n') { b'\n' } else { b'\r' })
                .map(|(_, line)| line)
                .collect();
            assert_eq!(cut, bytes);
        }
    }

    #[test]
    fn every_line_end_is_recognised() {
        check("", &[], End::Last);
        check("a\nb\n", &["a", "b"], End::Whole);
        check("a\r\nb", &["a", "b"], End::Last);
        check("a\rb\r", &["a", "b"], End::Whole);
        check("a\n\n\nb\n", &["a", "", "", "b"], End::Whole);
    }

    #[test]
    fn long_files_and_long_lines_stay_in_bounds() {
        let mut text: Vec<u8> = (0..400_000).flat_map(|row| format!("{row}\n").into_bytes()).collect();
        let expected = text.iter().filter(|&&byte| byte == b'\n').count();
        assert_eq!(all(&text, 70_001).len(), expected);
        assert_eq!(all(&text, 70_001)[399_999], (b"399999".to_vec(), 400_000, End::Whole));
        text.extend(vec![b'x'; 3 * HEAD]);
        text.extend(b"\nafter\n");
        let found = all(&text, 1 << 20);
        assert_eq!((&found[expected].0[..], found[expected].2), (&[b'x'; PREFIX][..], End::TooLong));
        assert_eq!(found[expected + 1], (b"after".to_vec(), 400_002, End::Whole));
    }
}

//! In: the text of a source file. Out: its code alone: comments, texts and tests are blanked out.

/// Comments and the inside of texts and characters become spaces; every byte keeps its place.
pub fn code(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut code = bytes.to_vec();
    let mut at = 0;
    while at < bytes.len() {
        let end = skipped(bytes, at);
        code[at..end].iter_mut().filter(|byte| **byte != b'\n').for_each(|byte| *byte = b' ');
        at = end.max(at + 1);
    }
    String::from_utf8_lossy(&code).into_owned()
}

/// Where a comment, text or character that begins at `at` ends; `at` itself if none begins there.
fn skipped(bytes: &[u8], at: usize) -> usize {
    let rest = &bytes[at..];
    let is_inside_word = at > 0 && (bytes[at - 1].is_ascii_alphanumeric() || bytes[at - 1] == b'_');
    match rest {
        [b'/', b'/', ..] => at + rest.iter().position(|byte| *byte == b'\n').unwrap_or(rest.len()),
        [b'/', b'*', ..] => at + comment(rest),
        [b'"', ..] => at + quoted(rest),
        [b'r', b'"' | b'#', ..] | [b'b', b'r', b'"' | b'#', ..] if !is_inside_word => at + raw(rest),
        [b'\'', b'\\', ..] => {
            at + 3 + rest.iter().skip(3).position(|byte| *byte == b'\'').map_or(0, |end| end + 1)
        }
        [b'\'', ..] => at + character(rest),
        _ => at,
    }
}

/// Length of a comment between `/*` and `*/`, which may hold others.
fn comment(rest: &[u8]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match &rest[at..] {
            [b'/', b'*', ..] => (depth, at) = (depth + 1, at + 2),
            [b'*', b'/', ..] => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            return at;
        }
    }
    rest.len()
}

/// Length of a text between quotes.
fn quoted(rest: &[u8]) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != b'"' {
        at += if rest[at] == b'\\' { 2 } else { 1 };
    }
    (at + 1).min(rest.len())
}

/// Length of a raw text; none for a raw name such as `r#type`.
fn raw(rest: &[u8]) -> usize {
    let prefix = rest.iter().take_while(|byte| matches!(byte, b'b' | b'r')).count();
    let hashes = rest[prefix..].iter().take_while(|byte| **byte == b'#').count();
    if rest.get(prefix + hashes) != Some(&b'"') {
        return 0;
    }
    let end: Vec<u8> = [b'"'].into_iter().chain(std::iter::repeat_n(b'#', hashes)).collect();
    let inside = &rest[prefix + hashes + 1..];
    let length = inside.windows(end.len()).position(|window| window == end);
    prefix + hashes + 1 + length.map_or(inside.len(), |length| length + end.len())
}

/// Length of a character; none for a lifetime.
fn character(rest: &[u8]) -> usize {
    let width = match rest.get(1) {
        Some(byte) if byte.is_ascii() => 1,
        _ => rest.iter().skip(2).take_while(|byte| **byte & 0xC0 == 0x80).count() + 1,
    };
    if rest.get(1 + width) == Some(&b'\'') { width + 2 } else { 0 }
}

/// Code without the items under `#[cfg(test)]`.
pub fn without_tests(text: &str) -> String {
    const TEST: &str = "#[cfg(test)]";
    let mut code = code(text);
    while let Some(from) = code.find(TEST) {
        let end = from + TEST.len() + item(&code[from + TEST.len()..]);
        code.replace_range(from..end, &" ".repeat(end - from));
    }
    code
}

/// Length of an item: up to its semicolon, or to the brace that closes its first one.
fn item(code: &str) -> usize {
    let (mut braces, mut others) = (0, 0);
    for (at, byte) in code.bytes().enumerate() {
        match byte {
            b'{' => braces += 1,
            b'}' => braces -= 1,
            b'(' | b'[' => others += 1,
            b')' | b']' => others -= 1,
            _ => (),
        }
        let is_end = byte == b'}' && braces == 0 || byte == b';' && braces == 0 && others == 0;
        if is_end {
            let rest = &code[at + 1..];
            return code.len() - rest.trim_start().strip_prefix(';').unwrap_or(rest).len();
        }
        if braces < 0 {
            return at;
        }
    }
    code.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_texts_and_characters_are_blanked() {
        for (text, expected) in [
            ("a // b\nc", "a     \nc"),
            ("a /* b /* c */ d */ e", "a                   e"),
            (r#"a("use \" b") c"#, "a(          ) c"),
            (r##"a(r#"b " c"#) d"##, "a(          ) d"),
            ("r#type::b", "r#type::b"),
            ("f('{', b'\\'', '\\u{7f}')", "f(   , b    ,         )"),
            ("f<'a>(x: &'a str)", "f<'a>(x: &'a str)"),
            ("'µ' b", "     b"),
        ] {
            assert_eq!(code(text), expected, "{text}");
        }
    }

    #[test]
    fn items_of_tests_are_blanked() {
        for (text, expected) in [
            ("#[cfg(test)]\nmod tests {\n fn a() {}\n}\nb", "b"),
            ("#[cfg(test)]\n#[path = \"x.rs\"]\nmod tests;\nb", "b"),
            ("#[cfg(test)]\nuse std::{a, b};\nb", "b"),
            ("#[cfg(test)]\nconst A: [u8; 2] = [1; 2];\nb", "b"),
        ] {
            assert_eq!(without_tests(text).trim(), expected, "{text}");
        }
    }
}

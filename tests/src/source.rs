//! Rust source as text: comments and literals blanked, functions measured. Enough for house rules, not a parser.

/// A function and how many lines it spans, signature and closing brace included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Function {
    /// Its name.
    pub name: String,
    /// Line of `fn`, from 1.
    pub line: usize,
    /// Lines from `fn` to the closing brace.
    pub lines: usize,
}

/// The source with every comment, string and character literal replaced by blanks; line breaks stay.
#[must_use]
pub fn code_only(source: &str) -> String {
    let chars: Vec<char> = source.chars().collect();
    let mut out = String::with_capacity(source.len());
    let mut at = 0;
    while at < chars.len() {
        let end = literal_end(&chars, at);
        if end > at {
            out.extend((at..end).map(|i| if chars[i] == '\n' { '\n' } else { ' ' }));
            at = end;
        } else {
            out.push(chars[at]);
            at += 1;
        }
    }
    out
}

/// Where the comment or literal that begins at `at` ends; `at` itself where none begins.
fn literal_end(chars: &[char], at: usize) -> usize {
    let next = |k: usize| chars.get(at + k).copied().unwrap_or(' ');
    let after_word = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
    match chars[at] {
        '/' if next(1) == '/' => find(chars, at, |i| chars[i] == '\n'),
        '/' if next(1) == '*' => block_comment_end(chars, at),
        '"' => string_end(chars, at + 1),
        'r' if !after_word && (next(1) == '"' || next(1) == '#') => {
            raw_string_end(chars, at + 1, at)
        }
        'b' if !after_word && next(1) == 'r' && matches!(next(2), '"' | '#') => {
            raw_string_end(chars, at + 2, at)
        }
        '\'' => char_end(chars, at),
        _ => at,
    }
}

fn find(chars: &[char], from: usize, stop: impl Fn(usize) -> bool) -> usize {
    (from..chars.len())
        .find(|&i| stop(i))
        .unwrap_or(chars.len())
}

fn block_comment_end(chars: &[char], at: usize) -> usize {
    let mut depth = 0_usize;
    let mut i = at;
    while i < chars.len() {
        match (chars[i], chars.get(i + 1)) {
            ('/', Some('*')) => {
                depth += 1;
                i += 2;
            }
            ('*', Some('/')) => {
                depth -= 1;
                i += 2;
                if depth == 0 {
                    return i;
                }
            }
            _ => i += 1,
        }
    }
    chars.len()
}

fn string_end(chars: &[char], mut i: usize) -> usize {
    while i < chars.len() {
        match chars[i] {
            '\\' => i += 2,
            '"' => return i + 1,
            _ => i += 1,
        }
    }
    chars.len()
}

/// `from` stands on the first `#` or the quote; `at` is handed back where this is no raw string (`r#name`).
fn raw_string_end(chars: &[char], from: usize, at: usize) -> usize {
    let quote = find(chars, from, |i| chars[i] != '#');
    if chars.get(quote) != Some(&'"') {
        return at;
    }
    let hashes = quote - from;
    let closes = |i: usize| chars[i] == '"' && (1..=hashes).all(|k| chars.get(i + k) == Some(&'#'));
    (find(chars, quote + 1, closes) + 1 + hashes).min(chars.len())
}

/// A lifetime (`'a`) is no literal.
fn char_end(chars: &[char], at: usize) -> usize {
    if chars.get(at + 1) == Some(&'\\') {
        return (find(chars, at + 3, |i| chars[i] == '\'') + 1).min(chars.len());
    }
    if chars.get(at + 2) == Some(&'\'') {
        return at + 3;
    }
    at
}

/// Every function with a body.
#[must_use]
pub fn functions(source: &str) -> Vec<Function> {
    let code = code_only(source);
    let bytes = code.as_bytes();
    let line_of = |at: usize| 1 + bytes[..at].iter().filter(|&&b| b == b'\n').count();
    let mut found = Vec::new();
    for (at, _) in code.match_indices("fn ") {
        let starts_word = at == 0 || !is_word(bytes[at - 1]);
        let name: String = code[at + 3..]
            .chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect();
        if !starts_word || name.is_empty() {
            continue;
        }
        if let Some(end) = body_end(bytes, at) {
            found.push(Function {
                name,
                line: line_of(at),
                lines: 1 + line_of(end) - line_of(at),
            });
        }
    }
    found
}

fn is_word(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || byte == b'_'
}

/// The closing brace of the body; `None` for a declaration without one.
fn body_end(bytes: &[u8], from: usize) -> Option<usize> {
    let (mut depth, mut nested) = (0_i32, 0_i32);
    for (i, byte) in bytes.iter().enumerate().skip(from) {
        match byte {
            b'{' => depth += 1,
            b'}' => {
                depth -= 1;
                if depth == 0 {
                    return Some(i);
                }
            }
            b'(' | b'[' => nested += 1,
            b')' | b']' => nested -= 1,
            b';' if depth == 0 && nested == 0 => return None,
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_and_literals_become_blanks_and_lines_stay() {
        let source = "let a = \"{ // \\\" }\"; // {\nlet b = '{'; /* { /* } */ \n */ let c = r#\"}\"\"#; x<'a>";
        let code = code_only(source);
        assert!(!code.contains(['{', '}', '"']), "{code}");
        assert_eq!(code.matches('\n').count(), 2);
        for kept in ["let a =", "let b =", "let c =", "x<'a>"] {
            assert!(code.contains(kept), "{kept} in {code}");
        }
    }

    #[test]
    fn functions_are_measured_from_fn_to_the_closing_brace() {
        let source = "trait T { fn declared(&self, a: [u8; 3]); }\n\
                      fn one() { let s = \"}\"; }\n\
                      pub(crate) fn four<F: Fn(u8)>(\n    f: F,\n) {\n    if true { f(1) } }\n";
        let found: Vec<(String, usize, usize)> = functions(source)
            .into_iter()
            .map(|f| (f.name, f.line, f.lines))
            .collect();
        assert_eq!(found, [("one".to_owned(), 2, 1), ("four".to_owned(), 3, 4)]);
    }
}

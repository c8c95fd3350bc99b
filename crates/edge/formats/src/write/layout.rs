//! How JSON documents are laid out: broken into lines at the top two levels, compact below, so that a fruitlet or a
//! decision stands on one line and two outputs can be compared line by line.

use serde_json::ser::Formatter;
use std::io::{self, Write};

/// Levels whose entries stand on lines of their own.
const BROKEN_LEVELS: usize = 2;

/// The layout; keeps count of the level.
#[derive(Debug, Default)]
pub(crate) struct Layout {
    level: usize,
    /// Whether the list or object that is being written has an entry.
    filled: bool,
}

impl Layout {
    fn open<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.level += 1;
        self.filled = false;
        out.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> io::Result<()> {
        let broken = self.level <= BROKEN_LEVELS && self.filled;
        self.level = self.level.saturating_sub(1);
        if broken {
            self.line(out)?;
        }
        self.filled = true;
        out.write_all(bracket)
    }

    fn entry<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if !first {
            out.write_all(b",")?;
        }
        if self.level <= BROKEN_LEVELS {
            self.line(out)?;
        } else if !first {
            out.write_all(b" ")?;
        }
        Ok(())
    }

    fn line<W: ?Sized + Write>(&self, out: &mut W) -> io::Result<()> {
        out.write_all(b"\n")?;
        (0..self.level).try_for_each(|_| out.write_all(b" "))
    }
}

impl Formatter for Layout {
    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"[")
    }
    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"]")
    }
    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.entry(out, first)
    }
    fn end_array_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }
    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"{")
    }
    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"}")
    }
    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.entry(out, first)
    }
    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b": ")
    }
    fn end_object_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Serialize;

    #[test]
    fn two_levels_are_broken_and_deeper_ones_are_not() {
        let value = serde_json::json!({"a": 1, "none": [], "list": [{"p": [1, 2], "q": {}}, {}]});
        let mut out = Vec::new();
        value
            .serialize(&mut serde_json::Serializer::with_formatter(
                &mut out,
                Layout::default(),
            ))
            .unwrap();
        let expected = "{\n \"a\": 1,\n \"none\": [],\n \"list\": [\n  {\"p\": [1, 2], \"q\": {}},\n  {}\n ]\n}";
        assert_eq!(String::from_utf8(out).unwrap(), expected);
    }
}

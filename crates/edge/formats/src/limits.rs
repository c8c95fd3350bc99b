//! How much a file may hold. Reaching a limit is a problem with a code of its own, never an endless read.

/// Limits on what is read. The defaults hold a day's work of several machines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Problems listed for one file; further ones are only said to exist. Default 100.
    pub problems: usize,
    /// Bytes of a `.json` or `.toml` file after unpacking. Default 512 MiB: it is held in memory as a whole.
    pub document_bytes: u64,
    /// Bytes of a `.jsonl` file after unpacking. Default 64 GiB: it is read in pieces.
    pub lines_bytes: u64,
    /// Bytes of one line. Default 16 MiB, about 150,000 boxes.
    pub line_bytes: usize,
    /// Lines of a file. Default 20 million: two days of poses at 100 a second.
    pub records: usize,
    /// Detections of one run. Default 200 million; positions are 32-bit numbers.
    pub detections: usize,
    /// Levels of lists and objects inside each other. Default 32; the formats need 7.
    pub depth: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            problems: 100,
            document_bytes: 512 << 20,
            lines_bytes: 64 << 30,
            line_bytes: 16 << 20,
            records: 20_000_000,
            detections: 200_000_000,
            depth: 32,
        }
    }
}

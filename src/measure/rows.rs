//! A pass and its logs, read in step: stretches of frames that each log has as a whole or not at all.
//!
//! What: each table is read by a thread of its own that runs a few blocks of rows ahead; the caller gets stretches in the order of frames.
//! Invariant: which rows come, and in which order, does not depend on the threads. Memory: a few blocks for each table, whatever its length.

use std::io::{Read, Seek};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use super::lanes::LANES;
use super::log::{Block, Log, LogError};

/// Numbers from a row to the next: one for each axis, and what is left of a group.
pub(super) fn stride(axes: usize) -> usize {
    axes.next_multiple_of(LANES)
}

/// How tables are read; no result depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reading {
    /// Cells of a block of rows; a block has one row at least.
    pub(crate) block: usize,
    /// Blocks read ahead.
    pub(crate) ahead: usize,
}

impl Default for Reading {
    /// Blocks small enough that a hundred logs fit in memory, large enough that handing one over costs nothing.
    fn default() -> Reading {
        Reading { block: 1 << 14, ahead: 2 }
    }
}

/// A table to read: its name for messages and its bytes.
#[derive(Debug)]
pub struct Input<R> {
    /// Name.
    pub name: String,
    /// Bytes.
    pub reader: R,
}

/// A table whose header was read.
#[derive(Debug)]
pub(super) struct Table<R> {
    pub(super) name: String,
    pub(super) log: Log<R>,
    /// Rows read, once all were.
    pub(super) rows: u64,
}

impl<R: Read + Seek> Table<R> {
    pub(super) fn open(input: Input<R>, axes: &[&str]) -> Result<Table<R>, LogError> {
        let log = Log::open(&input.name, input.reader, axes)?;
        Ok(Table { name: input.name, log, rows: 0 })
    }
}

/// A stretch of frames of the pass. Cells are rows of `stride` numbers, one for each axis in order; NaN where there is none.
pub(super) struct Run<'a> {
    pub(super) frames: &'a [i64],
    pub(super) stride: usize,
    pub(super) pass: &'a [f64],
    /// One for each log; `None` where it has none of these frames.
    pub(super) takes: &'a [Option<&'a [f64]>],
}

/// Reads pass and logs from their first row to their last.
///
/// # Errors
/// A row that is not one, a frame that the pass does not have: the first one found.
pub(super) fn walk<R: Read + Seek + Send>(
    pass: &mut Table<R>,
    takes: &mut [Table<R>],
    axes: usize,
    reading: Reading,
    on: &mut dyn FnMut(&Run),
) -> Result<(), LogError> {
    let stride = stride(axes);
    let size = (reading.block / stride.max(1)).max(1);
    let pass_name = pass.name.clone();
    let counts = std::thread::scope(|scope| {
        let start = |table: &mut Rows, log| {
            let (send, receive) = sync_channel(reading.ahead);
            let (give_back, spare) = sync_channel(reading.ahead.saturating_add(1));
            scope.spawn(move || read_on(log, size, stride, &send, &spare));
            table.threads = Some((receive, give_back));
        };
        let mut main = Rows::new(&pass.name, stride);
        start(&mut main, &mut pass.log);
        let mut logs = Vec::with_capacity(takes.len());
        for table in takes.iter_mut() {
            let mut rows = Rows::new(&table.name, stride);
            start(&mut rows, &mut table.log);
            logs.push(rows);
        }
        while main.fill()? {
            let mut n = main.left().len();
            for log in &mut logs {
                log.fill()?;
                log.shares = 0;
                let (wanted, found) = (main.left(), log.left());
                match (wanted.first(), found.first()) {
                    (Some(w), Some(f)) if f < w => return Err(log.stranger(*f, &pass_name)),
                    (Some(w), Some(f)) if f == w => {
                        n = wanted.iter().zip(found).take(n).take_while(|(w, f)| w == f).count();
                        log.shares = n;
                    }
                    (Some(_), Some(f)) => n = n.min(wanted.partition_point(|w| w < f)),
                    _ => {}
                }
            }
            let cells: Vec<Option<&[f64]>> = logs.iter().map(|log| (log.shares > 0).then(|| log.cells(n))).collect();
            on(&Run { frames: main.left().get(..n).unwrap_or_default(), stride, pass: main.cells(n), takes: &cells });
            for log in logs.iter_mut().filter(|log| log.shares > 0) {
                log.pass_over(n);
            }
            main.pass_over(n);
        }
        for log in &mut logs {
            if log.fill()? {
                return Err(log.stranger(log.left().first().copied().unwrap_or_default(), &pass_name));
            }
        }
        Ok((main.rows_read, logs.iter().map(|l| l.rows_read).collect::<Vec<u64>>()))
    })?;
    pass.rows = counts.0;
    for (table, rows) in takes.iter_mut().zip(counts.1) {
        table.rows = rows;
    }
    Ok(())
}

/// Reads blocks until the end or until nobody wants more.
fn read_on<R: Read>(log: &mut Log<R>, rows: usize, stride: usize, send: &SyncSender<Filled>, spare: &Receiver<Block>) {
    loop {
        let block = log.block(spare.try_recv().unwrap_or_default(), rows, stride);
        let last = block.as_ref().map_or(true, |b| b.frames.is_empty());
        if send.send(block).is_err() || last {
            return;
        }
    }
}

/// A block that was read, or why it was not.
type Filled = Result<Block, LogError>;

/// The rows of one table as they come.
struct Rows {
    name: String,
    /// Where blocks come from, and where they go when they are used up.
    threads: Option<(Receiver<Filled>, SyncSender<Block>)>,
    block: Block,
    row: usize,
    stride: usize,
    rows_read: u64,
    /// Frames at the front that it shares with the pass; 0 where it lacks them.
    shares: usize,
}

impl Rows {
    fn new(name: &str, stride: usize) -> Rows {
        Rows { name: name.to_owned(), threads: None, block: Block::default(), row: 0, stride, rows_read: 0, shares: 0 }
    }

    /// Gets the next block where this one is used up; false at the end.
    fn fill(&mut self) -> Result<bool, LogError> {
        if self.row >= self.block.frames.len() {
            // After the last block the sender is gone: the end stays the end.
            let Some((receive, give_back)) = &self.threads else { return Ok(false) };
            let Ok(block) = receive.recv() else { return Ok(false) };
            let used = core::mem::replace(&mut self.block, block?);
            self.row = 0;
            // Nobody may be there to use it again.
            let _ = give_back.try_send(used);
        }
        Ok(!self.block.frames.is_empty())
    }

    /// The frames that are left of the block.
    fn left(&self) -> &[i64] {
        self.block.frames.get(self.row..).unwrap_or_default()
    }

    /// The cells of the next `n` rows.
    fn cells(&self, n: usize) -> &[f64] {
        self.block.cells.get(self.row * self.stride..(self.row + n) * self.stride).unwrap_or_default()
    }

    fn pass_over(&mut self, n: usize) {
        self.row += n;
        self.rows_read += u64::try_from(n).unwrap_or(u64::MAX);
    }

    fn stranger(&self, frame: i64, pass: &str) -> LogError {
        let what = format!("has frame {frame}, which {pass} does not have; check whether it is the log of another shot, pass or rate");
        LogError { log: self.name.clone(), line: 0, what }
    }
}

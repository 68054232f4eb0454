//! Examples for the help text of every command: each can be typed as it stands in a folder made by `movewright new`.

pub(super) const PROGRAM: &str = "\
Begin with:
  movewright new marsh
  movewright check marsh/shot.toml
  movewright compile marsh/shot.toml --out columns

Exit status: 0 within limits, 1 something is over a limit or does not hold,
2 the input or the call is wrong (nothing written), or the output could not be
written.

Checked against the limits that the stage file states, and nothing else.
Software limits are not a safety function: overhead loads and motors that start
by themselves can kill; follow local codes and licensed practice.";

pub(super) const NEW: &str = "\
Writes stage.toml and shot.toml, every key explained in a line; they compile as
they stand. A folder that holds anything is left untouched.

Example:
  movewright new marsh";

pub(super) const CHECK: &str = "\
Examples:
  movewright check shot.toml
  movewright check shot.toml --all | less
  movewright check shot.toml --json > check.json";

pub(super) const COMPILE: &str = "\
The folder is written completely or not at all; the same input again says
`up to date`. A folder written by movewright whose content differs is replaced
with --replace; a folder that holds anything else is never touched.

Examples:
  movewright compile shot.toml --out columns
  movewright compile shot.toml --out columns --replace";

pub(super) const REPORT: &str = "\
One file that needs nothing else; open it in a browser. Written though something
is over a limit: it shows what.

An earlier report is replaced; any other file only with --replace. A folder, a
device or a pipe is refused; `--out -` writes to standard output.

Example:
  movewright report shot.toml --out move.html";

pub(super) const PLOT: &str = "\
An earlier plot is replaced; any other file only with --replace. A folder, a
device or a pipe is refused; `--out -` writes to standard output.

Examples:
  movewright plot shot.toml --axis heron.bridge --out bridge.svg
  movewright plot shot.toml --axis heron.bridge --pass picture --out bridge.svg";

pub(super) const ROWS: &str = "\
Earlier rows with the same header line are replaced; any other file only with
--replace. A folder, a device or a pipe is refused; `--out -` writes to standard
output. With --per-axis, a folder of rows of other axes or with other columns is
replaced with --replace; a folder that holds anything else is never touched, and
`-` is refused.

Examples:
  movewright rows shot.toml --pass picture --rate 100 --out picture.rows.csv
  movewright rows shot.toml --pass picture --rate 100 --out - | head";

pub(super) const VERIFY: &str = "\
Example:
  movewright verify columns";

pub(super) const CHANGES: &str = "\
Examples:
  movewright changes columns/source/shot.toml shot.toml
  movewright changes monday.toml tuesday.toml --json";

pub(super) const COMPARE: &str = "\
A log is CSV: frame,AXIS,... and one row a frame; a part of the axes and frames
will do.

Examples:
  movewright compare columns --pass picture take_1.csv take_2.csv
  movewright compare columns --pass picture take_1.csv --tolerance-px 0.5";

pub(super) const COMPLETIONS: &str = "\
Examples:
  movewright completions bash > ~/.local/share/bash-completion/completions/movewright
  movewright completions fish > ~/.config/fish/completions/movewright.fish";

pub(super) const MAN: &str = "\
Examples:
  movewright man | man -l -
  movewright man --out pages && man pages/movewright-check.1";

//! Examples for the help text of every command: each can be typed as it is in a folder made by `movewright new`.

pub(super) const PROGRAM: &str = "\
Start with:
  movewright new marsh
  movewright check marsh/shot.toml
  movewright compile marsh/shot.toml --out columns

Exit status: 0 every limit holds; 1 a limit is exceeded or a check fails; 2 the
input or the command line is wrong, or the output could not be written.

Checked against the limits that the stage file states, and nothing else.
Software limits are not a safety function: overhead loads and motors that start
by themselves can kill; follow local codes and licensed practice.";

pub(super) const NEW: &str = "\
Writes stage.toml and shot.toml, with one line of explanation per key. They
compile without changes. A folder that is not empty is left untouched.

Example:
  movewright new marsh";

pub(super) const PACE: &str = "\
Examples:
  movewright pace shot.toml
  movewright pace shot.toml --csv > passes.csv
  movewright pace shot.toml --json > pace.json";

pub(super) const CHECK: &str = "\
Examples:
  movewright check shot.toml
  movewright check shot.toml --all | less
  movewright check shot.toml --json > check.json";

pub(super) const COMPILE: &str = "\
The output folder is written completely or not at all. The same input again
prints `up to date`. --replace replaces a folder that movewright wrote from
other input. A folder that holds anything else is never touched.

Examples:
  movewright compile shot.toml --out columns
  movewright compile shot.toml --out columns --replace";

pub(super) const REPORT: &str = "\
The report is one self-contained file; open it in a browser. It is written even
if a limit is exceeded, and shows where.

An earlier report is replaced. Any other file is replaced only with --replace. A
folder, a device or a pipe is refused. `--out -` writes to standard output.

Examples:
  movewright report shot.toml --out move.html
  movewright report shot.toml --against columns --out move.html";

pub(super) const WATCH: &str = "\
The first line of output is the address to open in a browser. Every save of the
shot, its stage, key files and routines is compiled and shown: first the curves,
then the verdict, then what changed. Mistakes are shown with their places; the
last good drawing stays. Only this machine can open the page. Ctrl-C ends it.

Without --edit nothing is written. With --edit the keys of the shot's own tracks
can be dragged on the curves. A key that is let go is written into the shot file
or its key file; every other line stays as it is. An edit is refused if the file
has changed in between. The address then ends in a random token: whoever has it
can edit the shot.

Examples:
  movewright watch shot.toml --port 8700
  movewright watch shot.toml --edit";

pub(super) const PLOT: &str = "\
An earlier plot is replaced. Any other file is replaced only with --replace. A
folder, a device or a pipe is refused. `--out -` writes to standard output.

Examples:
  movewright plot shot.toml --axis heron.bridge --out bridge.svg
  movewright plot shot.toml --axis heron.bridge --pass picture --out bridge.svg";

pub(super) const ROWS: &str = "\
Earlier rows with the same header line are replaced. Any other file is replaced
only with --replace. A folder, a device or a pipe is refused. `--out -` writes to
standard output.

With --per-axis, --replace replaces a folder of rows of other axes or columns. A
folder that holds anything else is never touched, and `-` is refused.

Examples:
  movewright rows shot.toml --pass picture --rate 100 --out picture.rows.csv
  movewright rows shot.toml --pass picture --rate 100 --out - | head";

pub(super) const VERIFY: &str = "\
Examples:
  movewright verify columns
  movewright verify measured";

pub(super) const CHANGES: &str = "\
Examples:
  movewright changes columns shot.toml
  movewright changes monday.toml tuesday.toml --json";

pub(super) const COMPARE: &str = "\
A log is CSV: frame,AXIS,... with one row per frame. Logs may be partial: missing
axes and frames are listed.

Examples:
  movewright compare columns --pass picture take_1.csv take_2.csv
  movewright compare columns --pass picture take_1.csv --tolerance-px 0.5
  movewright compare columns --pass picture take_1.csv --hand-off measured
  movewright compare columns --pass picture --points first.csv second.csv
  movewright compare columns --home before.csv after.csv";

pub(super) const STUDY: &str = "\
Times in s, positions in mm; all markers have x, y and z, or all have x and y. A
blank cell is a gap: rows with gaps are listed and left out.

Examples:
  movewright study wing_beat.csv --body chest,back,tail --within 2
  movewright study wing_beat.csv --body chest --json
  movewright study wing_beat.csv --body chest,back,tail --within 4 \\
    --stage stage.toml --group heron_a --write wing_beat.toml

With --group the recording is read in the axes of the figure's body. Its first
complete row is the figure with every axis at home.";

pub(super) const RIG: &str = "\
The sheet lists, for each axis: steps per unit, direction, home, travel, motor,
what one step is worth, and where to measure. Readings are CSV: commanded and
measured in mm or deg, and the direction + or - of the approach. The gauge may
have its zero anywhere. A blank `measured` is left out.

Exit status with --measured: 0 the stage file agrees with the readings; 1 it does
not, and the lines to write are printed; 2 the readings cannot be used.

Examples:
  movewright rig stage.toml | lpr
  movewright rig stage.toml --axis camera.track --blank > camera.track.csv
  movewright rig stage.toml --measured camera.track.csv";

pub(super) const TAKE: &str = "\
The record is takes.csv beside the folder: one line per take, which only grows.
Nothing in it is ever changed, and runs at the same time lose no take. A take
remembers the folder by the hash of its manifest: once the folder is compiled
anew with another result, the take is stale. changes and compare read the record
beside a folder, pace and report with --takes.

Examples:
  movewright take columns --pass picture --good
  movewright take columns --pass picture --bad --slate 12A --note \"gust\"
  movewright take columns --pass picture --good --frames 118..140 --stop 22";

pub(super) const COMPLETIONS: &str = "\
Examples:
  movewright completions bash > ~/.local/share/bash-completion/completions/movewright
  movewright completions fish > ~/.config/fish/completions/movewright.fish";

pub(super) const MAN: &str = "\
Examples:
  movewright man | man -l -
  movewright man --out pages && man pages/movewright-check.1";

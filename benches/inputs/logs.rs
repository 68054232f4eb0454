//! Logs of 56 axes that benches compare: a pass and a take, made from their row and axis numbers alone.

#![allow(missing_docs, clippy::unwrap_used, reason = "benches")]

use std::io::Write;

use movewright::measure::AxisFacts;

pub(crate) const AXES: usize = 56;

pub(crate) fn facts() -> Vec<AxisFacts> {
    let one = |i| AxisFacts {
        name: format!("a{i:02}"),
        unit: "mm",
        steps_per_unit: 100.0,
        reversed: false,
        microsteps: 16,
        backlash: None,
        pixels_per_unit: None,
    };
    (0..AXES).map(one).collect()
}

/// Positions wander over some ten thousand steps; with `off` they are up to two steps off, another way at every row and axis.
pub(crate) fn write(out: &mut impl Write, rows: u64, off: bool) {
    write!(out, "frame").unwrap();
    for f in facts() {
        write!(out, ",{}", f.name).unwrap();
    }
    writeln!(out).unwrap();
    let (mut line, mut digits) = (Vec::new(), itoa::Buffer::new());
    for row in 0..rows {
        line.clear();
        line.extend_from_slice(digits.format(row).as_bytes());
        for axis in 0..AXES as u64 {
            let swing = (row * (axis + 3) / 7) % 40_000;
            let place = swing.min(40_000 - swing) as i64 - 10_000;
            let noise = (row * AXES as u64 + axis).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 33;
            let n = if off { place + (noise % 5) as i64 - 2 } else { place };
            line.push(b',');
            line.extend_from_slice(digits.format(n).as_bytes());
        }
        line.push(b'\n');
        out.write_all(&line).unwrap();
    }
}

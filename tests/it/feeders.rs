//! The feeders of the page for integrators: in Python, Rust and C they send the same steps, and nothing of a file that is damaged.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A folder with rows of a shot of two axes, velocities and shutter beside them; and how many rows.
fn folder(dir: &Path) -> (PathBuf, u64) {
    let out = dir.join("out");
    let done = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .args(["compile", "examples/two_keys_too_close/good.toml", "--rows", "0.5", "--out"])
        .arg(&out)
        .current_dir(root())
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let manifest: serde_json::Value = serde_json::from_slice(&fs::read(out.join("manifest.json")).unwrap()).unwrap();
    (out, manifest["passes"][0]["rows"]["rows"].as_u64().unwrap())
}

/// Each feeder with its arguments for this folder; those whose language is not here are left out, but never all.
fn feeders(dir: &Path, out: &Path, rows: u64) -> Vec<(&'static str, Command)> {
    let source = root().join("examples/feeding_a_controller");
    let file = out.join("picture.rows.csv");
    let mut all = Vec::new();
    if Command::new("python3").arg("--version").output().is_ok() {
        let mut c = Command::new("python3");
        c.arg(source.join("feeder.py")).arg(out).args(["picture", "--now"]);
        all.push(("python", c));
    }
    let exe = dir.join("feeder_c");
    if !exe.exists() {
        let _without =
            Command::new("cc").args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-o"]).arg(&exe).arg(source.join("feeder.c")).status();
    }
    if exe.exists() {
        let mut c = Command::new(&exe);
        c.arg(&file).arg(rows.to_string());
        all.push(("c", c));
    }
    let rust = Path::new(env!("CARGO_BIN_EXE_movewright")).parent().unwrap().join("examples/feeder");
    if rust.exists() {
        let mut c = Command::new(rust);
        c.arg(out).args(["picture", "--now"]);
        all.push(("rust", c));
    }
    assert!(!all.is_empty(), "no feeder can be run here");
    all
}

fn sent(output: &Output) -> Vec<Vec<f64>> {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().map(|line| line.split(' ').map(|n| n.parse().unwrap()).collect()).collect()
}

#[test]
fn every_feeder_sends_the_positions_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let (out, rows) = folder(dir.path());
    let table = fs::read_to_string(out.join("picture.rows.csv")).unwrap();
    let expected: Vec<Vec<f64>> = table
        .lines()
        .skip(1)
        // Second and two axes; the shutter stands behind them.
        .map(|line| line.split(',').take(3).map(|n| n.parse().unwrap()).collect())
        .collect();
    assert_eq!(expected.len() as u64, rows);
    for (name, mut feeder) in feeders(dir.path(), &out, rows) {
        let output = feeder.output().unwrap();
        assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(sent(&output), expected, "{name}");
    }
}

/// Over a socket on this machine a controller that counts lines gets every row, in order, and then the end; of a damaged file nothing.
#[test]
fn a_controller_behind_a_socket_gets_every_row() {
    if Command::new("python3").arg("--version").output().is_err() {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let (out, rows) = folder(dir.path());
    let path = out.join("picture.rows.csv");
    let table = fs::read_to_string(&path).unwrap();
    let expected: Vec<Vec<f64>> = table.lines().skip(1).map(|line| line.split(',').take(3).map(|n| n.parse().unwrap()).collect()).collect();
    let controller = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = controller.local_addr().unwrap().port();
    let fed = |table: &str| {
        fs::write(&path, table).unwrap();
        let mut feeder = Command::new("python3");
        feeder.arg(root().join("examples/feeding_a_controller/feeder.py")).arg(&out);
        let child = feeder.args(["picture", "--now", "--to", &format!("127.0.0.1:{port}")]).stderr(std::process::Stdio::null()).spawn();
        child.unwrap()
    };
    let mut child = fed(&table);
    let (mut socket, _) = controller.accept().unwrap();
    let mut text = String::new();
    std::io::Read::read_to_string(&mut socket, &mut text).unwrap();
    assert!(child.wait().unwrap().success());
    let received: Vec<Vec<f64>> = text.lines().map(|line| line.split(' ').map(|n| n.parse().unwrap()).collect()).collect();
    assert_eq!((received.len() as u64, &received), (rows, &expected));
    // It does not even connect.
    let mut child = fed(&table[..table.len() - 4]);
    assert!(!child.wait().unwrap().success());
    controller.set_nonblocking(true).unwrap();
    assert!(controller.accept().is_err());
}

#[test]
fn no_feeder_sends_a_row_of_a_damaged_file() {
    let dir = tempfile::tempdir().unwrap();
    let (out, rows) = folder(dir.path());
    let path = out.join("picture.rows.csv");
    let table = fs::read_to_string(&path).unwrap();
    let last = table.trim_end().rfind('\n').unwrap() + 1;
    let damages = [
        ("cut within the last line", table[..table.len() - 4].to_owned()),
        ("the end of the last line is missing", table.trim_end().to_owned()),
        ("the last row is missing", table[..last].to_owned()),
        ("a cell is missing", table.replacen(",0\n", "\n", 1)),
        ("a position is no whole number", {
            let n = table.find('\n').unwrap();
            format!("{}{}", &table[..=n], table[n + 1..].replacen(",0,", ",0x,", 1))
        }),
        ("another first column", table.replacen("t_s", "t_ms", 1)),
        ("an unknown column", table.replacen("shutter", "flash", 1)),
    ];
    for (what, text) in damages {
        fs::write(&path, text).unwrap();
        for (name, mut feeder) in feeders(dir.path(), &out, rows) {
            let output = feeder.output().unwrap();
            assert!(!output.status.success(), "{name}: {what}");
            assert!(output.stdout.is_empty(), "{name} sent something: {what}");
        }
    }
}

//! Damage of an aimed axis that is the same in every table of every pass, its hashes put right: only computing the aim again finds it.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

fn verify(dir: &Path) -> (Option<i32>, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_movewright")).arg("verify").arg(dir).output().unwrap();
    (out.status.code(), String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap())
}

#[test]
fn a_camera_that_looks_two_steps_past_its_target_in_every_pass_is_found() {
    let temp = tempfile::tempdir().unwrap();
    let dir = temp.path().join("herons");
    let shot = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    assert!(
        Command::new(env!("CARGO_BIN_EXE_movewright")).arg("compile").arg(shot).arg("--out").arg(&dir).output().unwrap().status.success()
    );
    let (code, said) = verify(&dir);
    assert_eq!(code, Some(0), "{said}");
    assert!(!said.contains("aimed"), "every aim was computed again: {said}");

    let mut manifest: Value = serde_json::from_slice(&fs::read(dir.join("manifest.json")).unwrap()).unwrap();
    let pan = manifest["columns"].as_array().unwrap().iter().find(|c| c["axis"] == "camera.pan").unwrap();
    let per_unit = pan["steps_per_unit"].as_f64().unwrap();
    for pass in ["beauty", "matte", "clean", "haze", "still"] {
        for (kind, by) in [("steps", 2.0), ("units", 2.0 / per_unit)] {
            let name = format!("{pass}.{kind}.csv");
            let text = fs::read_to_string(dir.join(&name)).unwrap();
            let column = text.lines().next().unwrap().split(',').position(|h| h == "camera.pan").unwrap();
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            let mut cells: Vec<String> = lines[100].split(',').map(str::to_owned).collect();
            let value: f64 = cells[column].parse::<f64>().unwrap() + by;
            cells[column] = if kind == "steps" { format!("{value:.0}") } else { format!("{value:.6}") };
            lines[100] = cells.join(",");
            let damaged = lines.join("\n") + "\n";
            for f in manifest["files"].as_array_mut().unwrap().iter_mut().filter(|f| f["path"] == name.as_str()) {
                f["blake3"] = Value::from(blake3::hash(damaged.as_bytes()).to_hex().to_string());
                f["bytes"] = Value::from(damaged.len());
            }
            fs::write(dir.join(&name), damaged).unwrap();
        }
    }
    fs::write(dir.join("manifest.json"), serde_json::to_vec_pretty(&manifest).unwrap()).unwrap();
    let (code, said) = verify(&dir);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("camera.pan") && said.contains("100"), "{said}");
}

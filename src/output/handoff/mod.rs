//! What the paint and CG departments take over: poses, scene, support rods in the picture.
//!
//! Invariant: everything here is read from the compiled curves; nothing is written where the stage does not say where its bodies are.

pub(crate) mod gltf;
mod haze;
pub(crate) mod line;
mod mesh;
pub(crate) mod outline;
pub(crate) mod poses;
pub(crate) mod rods;
pub(crate) mod sampling;
mod silhouettes;
pub(crate) mod tables;
pub(crate) mod usd;

use super::staged::{StagedError, StagedFolder};
use crate::compile::Compiled;
use poses::{PoseError, Size, posed};
use sampling::{Sampling, Wishes};
use tables::Kind;

/// What is handed over.
#[derive(Debug, Clone, Copy)]
pub(crate) struct HandOff<'a> {
    /// The compiled shot.
    pub compiled: &'a Compiled,
    /// What is asked of the files.
    pub wishes: Wishes,
}

impl HandOff<'_> {
    /// Adds the files to a folder; none where the stage does not say where its bodies are. `step` is called before each file with its name.
    ///
    /// # Errors
    /// A body without a pose; whatever the system says.
    pub(crate) fn add<E: From<StagedError> + From<PoseError>>(
        &self,
        folder: &mut StagedFolder,
        step: &mut dyn FnMut(&str),
    ) -> Result<(), E> {
        let HandOff { compiled, wishes } = *self;
        let (stage, shot) = (compiled.stage(), compiled.shot());
        if stage.bodies().is_empty() {
            return Ok(());
        }
        let sampling = Sampling::new(shot, wishes);
        if rods::any(stage) {
            for pass in shot.passes() {
                let guide = rods::guide(compiled, pass)?;
                let name = format!("{}.rods.csv", pass.name());
                step(&name);
                folder.file(&name, |out| guide.write_lines(out, &sampling).map_err(E::from))?;
                let name = format!("{}.rod_outlines.csv", pass.name());
                step(&name);
                folder.file(&name, |out| guide.write_outlines(out, &sampling).map_err(E::from))?;
            }
        }
        if silhouettes::any(stage) {
            for pass in shot.passes() {
                let name = format!("{}.silhouettes.csv", pass.name());
                step(&name);
                folder.file(&name, |out| silhouettes::write(out, compiled, pass, &sampling).map_err(E::from))?;
            }
        }
        let bodies = posed(compiled, &sampling)?;
        let sizes: &[(Size, &str)] = if wishes.full_size { &[(Size::Model, ""), (Size::Full, ".full_size")] } else { &[(Size::Model, "")] };
        // Core glTF has a value at the middle of each frame, whatever the tables have.
        let middles = Sampling::new(shot, Wishes { samples: None, ..wishes });
        let at_middles = if sampling.is_within_frames() { posed(compiled, &middles)? } else { bodies.clone() };
        if let Some(haze) = shot.haze() {
            step(haze::FILE);
            folder.file(haze::FILE, |out| haze::write(out, (shot, haze), &at_middles, &middles).map_err(E::from))?;
        }
        for (size, mark) in sizes {
            for (kind, stem) in [(Kind::Cameras, "camera"), (Kind::Figures, "bodies")] {
                if bodies.iter().all(|b| b.lens().is_some() != (kind == Kind::Cameras)) {
                    continue;
                }
                let name = format!("{stem}{mark}.csv");
                step(&name);
                folder.file(&name, |out| tables::write(out, stage, shot, &bodies, kind, (*size, &sampling)).map_err(E::from))?;
            }
            let name = format!("scene{mark}.glb");
            step(&name);
            folder.file(&name, |out| gltf::write(out, stage, shot, &at_middles, (*size, &middles)).map_err(E::from))?;
            let name = format!("scene{mark}.usda");
            step(&name);
            folder.file(&name, |out| usd::write(out, stage, shot, &bodies, (*size, &sampling)).map_err(E::from))?;
        }
        Ok(())
    }
}

//! Signals of a caller's own on channels of another stage.

use std::sync::Arc;

use movewright::signal::{Jet, Knot, Signal, SignalError};
use movewright::{Axis, Compiled, Error, Shot, Stage};

#[derive(Debug)]
struct Still;

impl Signal for Still {
    fn jet(&self, _: f64, _: f64) -> Jet {
        Jet::constant(0.0)
    }
    fn knots(&self, _: f64, _: f64, _: &mut Vec<Knot>) -> Result<(), SignalError> {
        Ok(())
    }
}

fn stage(group: &str) -> Stage {
    let axis = Axis::mm("lift").travel(0.0..=1.0).velocity(1.0).acceleration(1.0).jerk(1.0).build().unwrap();
    Stage::builder("Marsh").group(group, [axis]).build().unwrap()
}

#[test]
fn ids_of_another_stage_are_refused() {
    let (other, stage) = (stage("crane"), stage("heron"));
    let mut shot = Shot::builder(&stage, "own", 1..=40, "24").unwrap();
    shot.pass("picture").moving(10.0).unwrap();
    let shot = shot.build().unwrap();
    let flaw = shot.clone().with_signal(other.channel("crane.lift").unwrap(), Arc::new(Still)).unwrap_err();
    assert_eq!(flaw.code, "other-stage");
    let error: Error = Compiled::compile(other, shot).unwrap_err().into();
    assert_eq!(error.flaws()[0].code, "other-stage");
}

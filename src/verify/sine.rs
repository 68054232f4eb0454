//! The sine by its power series, after whole turns are taken off.
//!
//! Unit: turns. Slow and obvious on purpose: it shares nothing with the functions that made the columns. The series of an argument of at most
//! a quarter turn alternates with falling terms, so the error is below the first term left out (any calculus textbook).

/// Sine of an angle in turns.
pub(super) fn sine(turns: f64) -> f64 {
    let part = turns - turns.floor();
    // sin(1 - x) = -sin x, sin(1/2 - x) = sin x: down to the first quarter.
    let (sign, half) = if part > 0.5 { (-1.0, 1.0 - part) } else { (1.0, part) };
    let quarter = if half > 0.25 { 0.5 - half } else { half };
    let x = quarter * core::f64::consts::TAU;
    let (mut term, mut sum, mut n) = (x, x, 1.0);
    while term.abs() > 1e-20 {
        term *= -x * x / ((n + 1.0) * (n + 2.0));
        sum += term;
        n += 2.0;
    }
    sign * sum
}

/// Cosine of an angle in turns.
pub(super) fn cosine(turns: f64) -> f64 {
    sine(turns + 0.25)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// sin 30 deg = 1/2, sin 45 deg = sqrt(1/2): any table.
    #[test]
    fn angles_of_the_school_book() {
        let near = |x: f64, want: f64| assert!((x - want).abs() < 3e-16, "{x} {want}");
        for whole in [-3.0, 0.0, 7.0] {
            near(sine(whole + 1.0 / 8.0), 0.5_f64.sqrt());
            near(sine(whole + 0.25), 1.0);
            near(sine(whole + 0.5), 0.0);
            near(sine(whole + 0.625), -(0.5_f64.sqrt()));
            near(cosine(whole), 1.0);
            near(cosine(whole + 0.5), -1.0);
        }
        near(sine(1.0 / 12.0), 0.5);
        near(sine(11.0 / 12.0), -0.5);
    }
}

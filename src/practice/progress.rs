//! What many takes say together: a learning curve with its asymptote, how sure it is, and a plain answer.
//!
//! In: takes in order. Out: the exponential law of practice for single learners, **[P: A. Heathcote, S. Brown,
//! D. J. K. Mewhort, "The power law repealed: the case for an exponential law of practice", Psychonomic Bulletin & Review
//! 7, 2000]**: y(N) = A + B exp(-a N), where A is the asymptote, B the distance to it before the first trial (negative
//! where y rises), a the learning rate and N the amount of practice. A and B are linear and are solved for; a is searched.
//! Errors come from the Jacobian at the best fit, as for any least-squares curve.

use super::take::Entry;

/// A fitted curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Where it leads.
    pub asymptote: f64,
    /// Distance to the asymptote at 0.
    pub distance: f64,
    /// Learning rate, per unit of practice.
    pub rate: f64,
    /// Standard errors of the three, in this order; infinite where the data do not hold them.
    pub errors: [f64; 3],
    /// Sum of squares that remains.
    pub rest: f64,
}

/// The plain answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Too few takes, or too alike, to say.
    TooFew,
    /// Still rising.
    Rising {
        /// What the next 5 % would take at the curve's present pace, in takes.
        takes: f64,
    },
    /// Flattening.
    Flattening {
        /// What the next 5 % would take at this rate, in takes; `None` when they lie beyond the asymptote.
        takes: Option<f64>,
    },
    /// Falling, or with no direction.
    NotRising,
}

impl Answer {
    /// Whether it is read off the fitted curve, which else shows nothing.
    pub fn is_of_the_curve(&self) -> bool {
        matches!(self, Answer::Rising { .. } | Answer::Flattening { .. })
    }
}

/// Fewer takes than this say nothing [M].
const FEW: usize = 6;
/// What remains to the asymptote when gains have flattened, as a share of the present value [M].
const FLAT: f64 = 0.03;
/// Rates are searched between these, per take over the whole of them.
const RATES: (f64, f64) = (1e-3, 50.0);
const GRID: usize = 240;

impl Fit {
    /// The curve at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.asymptote + self.distance * (-self.rate * x).exp()
    }
}

/// Fits y = A + B exp(-a x) by least squares; `None` for fewer than four points or when all lie at one place.
pub fn fit(points: &[(f64, f64)]) -> Option<Fit> {
    let (low, high) = points
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (x, _)| {
            (l.min(*x), h.max(*x))
        });
    let wide = high - low;
    if points.len() < 4
        || wide.is_nan()
        || wide <= 0.0
        || !points.iter().all(|(x, y)| x.is_finite() && y.is_finite())
    {
        return None;
    }
    let rate = |k: f64| RATES.0 * (RATES.1 / RATES.0).powf(k / GRID as f64) / wide;
    let rest = |k: f64| linear(points, rate(k)).map_or(f64::INFINITY, |(_, _, rest)| rest);
    let best = (0..=GRID).min_by(|a, b| rest(*a as f64).total_cmp(&rest(*b as f64)))? as f64;
    let k = golden((best - 1.0).max(0.0), (best + 1.0).min(GRID as f64), rest);
    let rate = rate(k);
    let (asymptote, distance, rest) = linear(points, rate)?;
    let fit = Fit {
        asymptote,
        distance,
        rate,
        errors: [f64::INFINITY; 3],
        rest,
    };
    Some(Fit {
        errors: errors(points, &fit),
        ..fit
    })
}

/// A, B and the rest for one rate.
fn linear(points: &[(f64, f64)], rate: f64) -> Option<(f64, f64, f64)> {
    let n = points.len() as f64;
    let falls = |x: f64| (-rate * x).exp();
    let (mut e, mut y) = (0.0, 0.0);
    for point in points {
        e += falls(point.0) / n;
        y += point.1 / n;
    }
    let (mut ee, mut ey) = (0.0, 0.0);
    for point in points {
        let d = falls(point.0) - e;
        ee += d * d;
        ey += d * (point.1 - y);
    }
    if ee.is_nan() || ee <= 1e-300 {
        return None;
    }
    let b = ey / ee;
    let a = y - b * e;
    let rest = points.iter().map(|p| (p.1 - a - b * falls(p.0)).powi(2)).sum();
    Some((a, b, rest))
}

/// The lowest place of a function with one dip.
fn golden(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const SHARE: f64 = 0.618_033_988_749_894_9;
    for _ in 0..80 {
        let (a, b) = (high - SHARE * (high - low), low + SHARE * (high - low));
        if f(a) <= f(b) { high = b } else { low = a }
    }
    (low + high) / 2.0
}

/// Standard errors from the inverse of JᵀJ.
fn errors(points: &[(f64, f64)], fit: &Fit) -> [f64; 3] {
    let free = points.len().saturating_sub(3);
    if free == 0 {
        return [f64::INFINITY; 3];
    }
    let mut m = [[0.0f64; 3]; 3];
    for (x, _) in points {
        let e = (-fit.rate * x).exp();
        let row = [1.0, e, -fit.distance * x * e];
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                m[i][j] += a * b;
            }
        }
    }
    let minor = |a: usize, b: usize| m[a][a] * m[b][b] - m[a][b] * m[b][a];
    let whole = m[0][0] * minor(1, 2) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    let variance = fit.rest / free as f64;
    [minor(1, 2), minor(0, 2), minor(0, 1)].map(|own| {
        let error = variance * own / whole;
        if error.is_finite() && error >= 0.0 {
            error.sqrt()
        } else {
            f64::INFINITY
        }
    })
}

/// The tempo shares of takes over their number, with the curve and the answer.
pub fn answer(entries: &[Entry]) -> (Option<Fit>, Answer) {
    let points: Vec<(f64, f64)> = entries
        .iter()
        .enumerate()
        .map(|(n, e)| (n as f64 + 1.0, e.tempo_share))
        .collect();
    if points.len() < FEW {
        return (None, Answer::TooFew);
    }
    let Some(fit) = fit(&points) else {
        return (None, Answer::TooFew);
    };
    let last = points.len() as f64;
    let (now, slope) = (fit.at(last), -fit.rate * fit.distance * (-fit.rate * last).exp());
    let left = fit.asymptote - now;
    let wanted = 0.05 * now;
    // Gains of the whole record smaller than what takes differ by anyway have no direction.
    let noise = (fit.rest / (points.len() as f64 - 3.0).max(1.0)).sqrt();
    let gained = now - fit.at(1.0);
    let answer = if gained <= noise || !slope.is_finite() || slope <= 0.0 {
        if noise < 0.01 && gained.abs() < 0.01 {
            Answer::Flattening { takes: None }
        } else {
            Answer::NotRising
        }
    } else if left < FLAT * now {
        let reachable = left > wanted;
        let takes = reachable.then(|| (left / (left - wanted)).ln() / fit.rate);
        Answer::Flattening {
            takes: takes.or_else(|| Some(wanted / slope).filter(|t| t.is_finite() && *t < 1000.0)),
        }
    } else {
        Answer::Rising {
            takes: wanted / slope,
        }
    };
    (Some(fit), answer)
}

/// The answer in words, without a promise.
pub fn words(fit: Option<&Fit>, answer: &Answer, takes: usize) -> String {
    let end = |fit: &Fit| {
        let error = fit.errors[0];
        if error.is_finite() && error < 0.5 {
            format!(
                " The curve so far leads to {:.0} % (± {:.0} %).",
                fit.asymptote * 100.0,
                error * 200.0
            )
        } else {
            " Where it leads cannot be told yet.".to_owned()
        }
    };
    let lead = fit.map(end).unwrap_or_default();
    match answer {
        Answer::TooFew => format!("Too few takes to say: {takes} so far, at least {FEW} are needed."),
        Answer::Rising { takes } => {
            format!("Still rising: at this pace the next 5 % would take about {takes:.0} takes.{lead}")
        }
        Answer::Flattening { takes: Some(takes) } => {
            format!(
                "Flattening: at this rate the next 5 % would take about {takes:.0} takes; try another way of practising.{lead}"
            )
        }
        Answer::Flattening { takes: None } => {
            format!(
                "Flattening: this way of practising gains nothing more for now; try another, or rest a day.{lead}"
            )
        }
        Answer::NotRising => "Not rising: the takes differ by more than they gain.".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries(shares: impl Iterator<Item = f64>) -> Vec<Entry> {
        let plain = Entry::of(&crate::practice::take::Take::default(), "a.wav", "", 0);
        shares
            .map(|s| Entry {
                tempo_share: s,
                ..plain.clone()
            })
            .collect()
    }

    /// Small steady noise.
    fn wobble(n: u32) -> f64 {
        f64::from((n * 7919 + 13) % 101) / 101.0 - 0.5
    }

    #[test]
    fn the_published_form_is_found_again_exactly() {
        // [P: Heathcote, Brown & Mewhort 2000]: E(N) = A + B exp(-a N)
        for (a, b, rate) in [(0.95, -0.4, 0.12), (1.0, -0.6, 0.03), (500.0, 900.0, 0.2)] {
            let points: Vec<(f64, f64)> = (1..=40)
                .map(|n| (f64::from(n), a + b * (-rate * f64::from(n)).exp()))
                .collect();
            let found = fit(&points).unwrap();
            for (found, true_) in [(found.asymptote, a), (found.distance, b), (found.rate, rate)] {
                assert!((found / true_ - 1.0).abs() < 1e-5, "{found} {true_}");
            }
        }
    }

    #[test]
    fn no_other_rate_fits_better() {
        let points: Vec<(f64, f64)> = (1..=25)
            .map(|n| {
                (
                    f64::from(n),
                    0.9 - 0.4 * (-0.1 * f64::from(n)).exp() + 0.03 * wobble(n),
                )
            })
            .collect();
        let found = fit(&points).unwrap();
        for k in 1..4000 {
            let rate = f64::from(k) * 0.0005;
            assert!(
                linear(&points, rate).unwrap().2 >= found.rest * (1.0 - 1e-9),
                "{rate}"
            );
        }
        assert!(found.errors.iter().all(|e| e.is_finite() && *e > 0.0));
    }

    #[test]
    fn the_answer_is_plain_and_follows_the_curve() {
        let curve = |a: f64, b: f64, rate: f64, count: u32, noise: f64| {
            entries((1..=count).map(move |n| a - b * (-rate * f64::from(n)).exp() + noise * wobble(n)))
        };
        assert_eq!(answer(&curve(0.9, 0.4, 0.2, 5, 0.0)).1, Answer::TooFew);
        assert!(matches!(
            answer(&curve(1.2, 0.7, 0.03, 15, 0.01)).1,
            Answer::Rising { .. }
        ));
        assert!(matches!(
            answer(&curve(0.8, 0.4, 0.3, 30, 0.01)).1,
            Answer::Flattening { .. }
        ));
        assert_eq!(answer(&curve(0.7, 0.0, 0.1, 20, 0.08)).1, Answer::NotRising);
        assert!(matches!(
            answer(&curve(0.7, 0.0, 0.1, 20, 0.0)).1,
            Answer::Flattening { takes: None } | Answer::NotRising
        ));
    }

    #[test]
    fn points_that_hold_no_curve_give_none_and_never_nonsense() {
        assert_eq!(fit(&[]), None);
        assert_eq!(fit(&[(1.0, 1.0); 9]), None);
        assert_eq!(fit(&[(1.0, f64::NAN), (2.0, 1.0), (3.0, 1.0), (4.0, 1.0)]), None);
        for answer in [Answer::TooFew, Answer::NotRising, Answer::Rising { takes: 3.2 }] {
            assert!(!words(None, &answer, 3).contains("NaN"));
        }
    }
}

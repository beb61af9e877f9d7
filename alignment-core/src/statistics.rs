//! The distributions that uncertainties and tests of them refer to: normal, Student's t, F and χ².
//!
//! No crate of statistics: what these functions give must have the same bits on every platform, so all of it rests on libm alone.
//! Probabilities and quantiles are good to a relative 1e-12. Nothing is checked here: arguments are those of the caller, NaN gives
//! NaN, a probability of 0 or 1 the end of the line.

use core::f64::consts::{FRAC_1_SQRT_2, PI};

/// From so many degrees of freedom on a distribution is its limit, to the last digit.
const ENDLESS: f64 = 1e17;

/// The normal distribution function: the probability of less than `x`.
pub(crate) fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// The `x` that a normal variable stays below with probability `p`.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    quantile(p, |x| (libm::erf(x * FRAC_1_SQRT_2), libm::erfc(x * FRAC_1_SQRT_2)))
}

/// Student's distribution function. `freedom`, above 0, need not be whole; infinite, it is the normal one.
pub(crate) fn student_t_cdf(x: f64, freedom: f64) -> f64 {
    if freedom >= ENDLESS {
        return normal_cdf(x);
    }
    let (within, beyond) = f_tails(x * x, 1.0, freedom);
    if x < 0.0 { 0.5 * beyond } else { 0.5 + 0.5 * within }
}

/// The `x` that a Student variable stays below with probability `p`; `freedom` as for [`student_t_cdf`]. To 1e150 either way.
pub(crate) fn student_t_quantile(p: f64, freedom: f64) -> f64 {
    if freedom >= ENDLESS {
        return normal_quantile(p);
    }
    quantile(p, |x| f_tails(x * x, 1.0, freedom))
}

/// Fisher's distribution function of the ratio of two variances; degrees of freedom above 0, not whole or infinite if need be.
pub(crate) fn f_cdf(x: f64, freedom_above: f64, freedom_below: f64) -> f64 {
    match (freedom_above >= ENDLESS, freedom_below >= ENDLESS) {
        (false, false) => f_tails(x, freedom_above, freedom_below).0,
        (false, true) => chi_squared_cdf(x * freedom_above, freedom_above),
        (true, false) => chi_squared_tails(freedom_below / x.max(0.0), freedom_below).1,
        // The ratio is 1 for certain.
        (true, true) => f64::from(x >= 1.0),
    }
}

/// The distribution function of χ²; `freedom` above 0, not whole if need be.
pub(crate) fn chi_squared_cdf(x: f64, freedom: f64) -> f64 {
    chi_squared_tails(x, freedom).0
}

/// The chance that χ² exceeds x: no digits are lost where it is small.
pub(crate) fn chi_squared_beyond(x: f64, freedom: f64) -> f64 {
    chi_squared_tails(x, freedom).1
}

/// The chance that Fisher's ratio exceeds x, of finite degrees of freedom.
pub(crate) fn f_beyond(x: f64, freedom_above: f64, freedom_below: f64) -> f64 {
    if freedom_below >= ENDLESS {
        return chi_squared_beyond(x * freedom_above, freedom_above);
    }
    f_tails(x, freedom_above, freedom_below).1
}

/// The quantile of a distribution symmetric about 0, from the probabilities within and beyond ± x.
fn quantile(p: f64, within_and_beyond: impl Fn(f64) -> (f64, f64)) -> f64 {
    if p.is_nan() {
        return p;
    }
    if p <= 0.0 || p >= 1.0 {
        return if p < 0.5 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    // Near the middle the one loses no digits, in the tails the other.
    let (within, beyond) = (libm::fabs(2.0 * p - 1.0), 2.0 * p.min(1.0 - p));
    let short_of = |x: f64| {
        let at = within_and_beyond(x);
        if within < 0.5 { at.0 < within } else { at.1 > beyond }
    };
    // Numbers that are not negative rise as their bits do: halving those ends at the last bit, with no bracket to be found first.
    let (mut least, mut most) = (0, f64::INFINITY.to_bits());
    while least < most {
        let middle = least + (most - least) / 2;
        if short_of(f64::from_bits(middle)) {
            least = middle + 1;
        } else {
            most = middle;
        }
    }
    let magnitude = f64::from_bits(least);
    if p < 0.5 { -magnitude } else { magnitude }
}

/// The probabilities of an F variable below and above `x`: the regularised incomplete beta function, both ways.
fn f_tails(x: f64, freedom_above: f64, freedom_below: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x == f64::INFINITY {
        return (1.0, 0.0);
    }
    let (a, b) = (freedom_above / 2.0, freedom_below / 2.0);
    let (part, rest) = (a * x, b);
    let whole = part + rest;
    // u^a·v^b/B(a, b) with u = part/whole and v = 1 − u, by Stirling's formula about its greatest value: the large exponents cancel on paper
    // instead of in the digits.
    let sum = a + b;
    let exponent = stirling_rest(sum)
        - stirling_rest(a)
        - stirling_rest(b)
        - a * less_log(x * (sum / whole), b * ((x - 1.0) / whole))
        - b * less_log(sum / whole, a * ((1.0 - x) / whole));
    let front = libm::sqrt(a / sum * b / (2.0 * PI)) * libm::exp(exponent);
    let lead = a * ((1.0 - x) / whole) * b;
    if x < 1.0 {
        let below = front * beta_fraction(a, b, part / whole, lead);
        (below, 1.0 - below)
    } else {
        let above = front * beta_fraction(b, a, rest / whole, -lead);
        (1.0 - above, above)
    }
}

/// The even part of the continued fraction of the incomplete beta function, whose terms below the mean, where `lead` = a − (a + b)·x is
/// positive, do not cancel.
fn beta_fraction(a: f64, b: f64, x: f64, lead: f64) -> f64 {
    continued_fraction((lead + 1.0) * (a / (a + 1.0)), |n| {
        let step = a + 2.0 * n - 1.0;
        let numerator = ((a + n - 1.0) / step * x) * ((a + b + n - 1.0) / step * x) * n * (b - n);
        let denominator = n + n * (b - n) / step * x + (a + n) / (step + 2.0) * (lead + 1.0 + n * (2.0 - x));
        (numerator, denominator)
    })
}

/// The probabilities of a χ² variable below and above `x`: the regularised incomplete gamma function, both ways.
fn chi_squared_tails(x: f64, freedom: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x == f64::INFINITY {
        return (1.0, 0.0);
    }
    let (a, x) = (freedom / 2.0, x / 2.0);
    // x^a·e^(−x)/Γ(a), as for F.
    let exponent = -stirling_rest(a) - a * less_log(x / a, (x - a) / a);
    let front = libm::sqrt(a / (2.0 * PI)) * libm::exp(exponent);
    if x < a + 1.0 {
        let (mut term, mut sum, mut n) = (1.0, 1.0, 0.0);
        while term > sum * f64::EPSILON / 8.0 && n < MOST_STEPS {
            n += 1.0;
            term *= x / (a + n);
            sum += term;
        }
        let below = front * sum / a;
        (below, 1.0 - below)
    } else {
        let above = front * continued_fraction(x - a + 1.0, |n| (n * (a - n), x - a + 2.0 * n + 1.0));
        (1.0 - above, above)
    }
}

/// No fraction or sum is followed further.
const MOST_STEPS: f64 = 1e6;

/// 1/(d₀ + n₁/(d₁ + n₂/(d₂ + …))), by the method of Lentz, from d₀ and each step's (n, d).
fn continued_fraction(first: f64, step: impl Fn(f64) -> (f64, f64)) -> f64 {
    const TINY: f64 = 1e-300;
    let away_from_0 = |v: f64| if libm::fabs(v) < TINY { TINY } else { v };
    let mut value = away_from_0(first);
    let (mut ratio, mut inverse) = (value, 0.0);
    let mut n = 0.0;
    while n < MOST_STEPS {
        n += 1.0;
        let (numerator, denominator) = step(n);
        ratio = away_from_0(denominator + numerator / ratio);
        inverse = 1.0 / away_from_0(denominator + numerator * inverse);
        let change = ratio * inverse;
        value *= change;
        if libm::fabs(change - 1.0) <= f64::EPSILON {
            break;
        }
    }
    1.0 / value
}

/// ln Γ(z) less Stirling's (z − ½)·ln z − z + ½·ln 2π.
fn stirling_rest(z: f64) -> f64 {
    if z < 10.0 {
        return libm::lgamma(z) - (z - 0.5) * libm::log(z) + z - 0.5 * libm::log(2.0 * PI);
    }
    let square = 1.0 / (z * z);
    let coefficients =
        [1.0 / 156.0, -691.0 / 360_360.0, 1.0 / 1188.0, -1.0 / 1680.0, 1.0 / 1260.0, -1.0 / 360.0, 1.0 / 12.0];
    coefficients.iter().fold(0.0, |sum, coefficient| sum * square + coefficient) / z
}

/// u − ln(1 + u), given both 1 + u and u, so that neither loses digits.
fn less_log(one_plus_u: f64, u: f64) -> f64 {
    if libm::fabs(u) > 0.3 {
        return u - libm::log(one_plus_u);
    }
    // ln(1 + u) = 2·artanh(s), s = u/(2 + u).
    let s = u / (2.0 + u);
    let square = s * s;
    let series = (0..16).rev().fold(0.0, |sum, n| sum * square + 1.0 / f64::from(2 * n + 3));
    s * (u - 2.0 * square * series)
}

#[cfg(test)]
#[expect(clippy::unreadable_literal, reason = "as printed by the program that they come from")]
#[expect(clippy::float_cmp, reason = "the limits are exact")]
mod tests {
    use super::*;

    #[track_caller]
    fn assert_close(found: f64, expected: f64, place: &[f64]) {
        assert!((found - expected).abs() <= 1e-12 * expected.abs(), "{place:?}: {found} is not {expected}");
    }

    /// SciPy 1.17.1, `scipy.stats`.
    #[test]
    fn normal() {
        for (x, expected) in [
            (-30.0, 4.906713927147908e-198),
            (-8.0, 6.22096057427174e-16),
            (-1.96, 0.024997895148220435),
            (-0.001, 0.49960105778608893),
            (0.0, 0.5),
            (0.5, 0.6914624612740131),
            (3.0, 0.9986501019683699),
            (6.0, 0.9999999990134123),
        ] {
            assert_close(normal_cdf(x), expected, &[x]);
        }
        for (p, expected) in [
            (1e-250, -33.79958617269484),
            (1e-10, -6.361340902404056),
            (0.025, -1.9599639845400545),
            (0.3, -0.5244005127080409),
            (0.4999, -0.0002506628300880075),
            (0.51, 0.02506890825871106),
            (0.975, 1.959963984540054),
            (0.9999999, 5.199337582290661),
        ] {
            assert_close(normal_quantile(p), expected, &[p]);
        }
    }

    /// SciPy 1.17.1, `scipy.stats`.
    #[test]
    fn student() {
        for (x, freedom, expected) in [
            (-40.0, 1.0, 0.007956089912025812),
            (-3.2, 1.0, 0.09641124797922958),
            (-1.7, 1.0, 0.1692530273303327),
            (-0.5, 1.0, 0.35241638234956674),
            (0.0001, 1.0, 0.500031830988535),
            (0.9, 1.0, 0.7332622916434258),
            (1.8, 1.0, 0.8385855327829047),
            (2.9, 1.0, 0.894302188680174),
            (7.0, 1.0, 0.9548327646991335),
            (-40.0, 2.5, 7.09781714524669e-05),
            (-3.2, 2.5, 0.031705514118190725),
            (-1.7, 2.5, 0.10280610857994191),
            (-0.5, 2.5, 0.3288489599348574),
            (0.0001, 2.5, 0.5000361808723186),
            (0.9, 2.5, 0.7768680231435792),
            (1.8, 2.5, 0.9061245268756848),
            (2.9, 2.5, 0.9610891961517524),
            (7.0, 2.5, 0.9947138152362043),
            (-40.0, 4.0, 1.1670081613006339e-06),
            (-3.2, 4.0, 0.016450405300469487),
            (-1.7, 4.0, 0.082177470635025),
            (-0.5, 4.0, 0.32166498159093165),
            (0.0001, 4.0, 0.5000374999999219),
            (0.9, 4.0, 0.7904972403959578),
            (1.8, 4.0, 0.9268808094054859),
            (2.9, 4.0, 0.9779410251828994),
            (7.0, 4.0, 0.9989039350966535),
            (-40.0, 16.0, 9.107880771886498e-18),
            (-3.2, 16.0, 0.002788853152388212),
            (-1.7, 16.0, 0.054242170062809236),
            (-0.5, 16.0, 0.3119407776500229),
            (0.0001, 16.0, 0.5000392761229773),
            (0.9, 16.0, 0.8092666314552819),
            (1.8, 16.0, 0.9546283826395408),
            (2.9, 16.0, 0.9947794977983864),
            (7.0, 16.0, 0.999998502055368),
            (-40.0, 50.3, 4.237955282678376e-40),
            (-3.2, 50.3, 0.0011905407634311906),
            (-1.7, 50.3, 0.04765370670669056),
            (-0.5, 50.3, 0.30962776336477704),
            (0.0001, 50.3, 0.5000396964514436),
            (0.9, 50.3, 0.813795494332833),
            (1.8, 50.3, 0.9610703946433978),
            (2.9, 50.3, 0.997240047669845),
            (7.0, 50.3, 0.9999999970869411),
            (-40.0, 1000.0, 5.239426077586636e-210),
            (-3.2, 1000.0, 0.0007087691521587772),
            (-1.7, 1000.0, 0.04472094347962005),
            (-0.5, 1000.0, 0.30859254041693734),
            (0.0001, 1000.0, 0.5000398842556648),
            (0.9, 1000.0, 0.8158315365078987),
            (1.8, 1000.0, 0.9639190302648053),
            (2.9, 1000.0, 0.9980933534778595),
            (7.0, 1000.0, 0.9999999999976562),
            (-3.2, 1000000.0, 0.0006871593758303068),
            (-1.7, 1000000.0, 0.04456561824517442),
            (-0.5, 1000000.0, 0.3085375937361857),
            (0.0001, 1000000.0, 0.5000398942180001),
            (0.9, 1000000.0, 0.8159397662900475),
            (1.8, 1000000.0, 0.9640695302501583),
            (2.9, 1000000.0, 0.998134146089728),
            (7.0, 1000000.0, 0.9999999999987194),
            (-3.2, 1000000000.0, 0.0006871379593535697),
            (-1.7, 1000000000.0, 0.044565462914029685),
            (-0.5, 1000000000.0, 0.30853753878099716),
            (0.0001, 1000000000.0, 0.5000398942279637),
            (0.9, 1000000000.0, 0.8159398745448773),
            (1.8, 1000000000.0, 0.9640696807364373),
            (2.9, 1000000000.0, 0.9981341866590063),
            (7.0, 1000000000.0, 0.9999999999987201),
        ] {
            assert_close(student_t_cdf(x, freedom), expected, &[x, freedom]);
        }
    }

    /// SciPy 1.17.1, `scipy.stats`, which loses digits nearer to the middle than these.
    #[test]
    fn student_quantiles() {
        for (p, freedom, expected) in [
            (1e-09, 1.0, -318309886.1837907),
            (0.005, 1.0, -63.65674116287158),
            (0.3, 1.0, -0.7265425280053609),
            (0.6, 1.0, 0.32491969623290634),
            (0.8, 1.0, 1.3763819204711738),
            (0.975, 1.0, 12.706204736174694),
            (0.99995, 1.0, 6366.197671316637),
            (1e-09, 2.5, -3489.583395369981),
            (0.005, 2.5, -7.163728138948786),
            (0.3, 2.5, -0.597307738252318),
            (0.6, 2.5, 0.2814595127485477),
            (0.8, 2.5, 1.0101638747222512),
            (0.975, 2.5, 3.5746548420036817),
            (0.99995, 2.5, 46.024215246951954),
            (1e-09, 4.0, -234.02761040611892),
            (0.005, 4.0, -4.604094871349993),
            (0.3, 4.0, -0.5686490630497053),
            (0.6, 4.0, 0.2707222947075976),
            (0.8, 4.0, 0.9409645772351816),
            (0.975, 4.0, 2.7764451051977934),
            (0.99995, 4.0, 15.544100581546113),
            (1e-09, 16.0, -12.023480788374892),
            (0.005, 16.0, -2.9207816224251006),
            (0.3, 16.0, -0.535010452901308),
            (0.6, 16.0, 0.25759919485514193),
            (0.8, 16.0, 0.8646670017982918),
            (0.975, 16.0, 2.1199052992212546),
            (0.99995, 16.0, 5.13389351754599),
            (1e-09, 50.3, -7.296150388771647),
            (0.005, 50.3, -2.677163001386766),
            (0.3, 50.3, -0.5277403137050687),
            (0.6, 50.3, 0.25469125347900645),
            (0.8, 50.3, 0.8488256641140716),
            (0.975, 50.3, 2.0082623406182267),
            (0.99995, 50.3, 4.226146717216746),
            (1e-09, 1000.0, -6.053690272079834),
            (0.005, 1000.0, -2.580754698065951),
            (0.3, 1000.0, -0.524567707309227),
            (0.6, 1000.0, 0.25341451583949876),
            (0.8, 1000.0, 0.8419808221624288),
            (0.975, 1000.0, 1.9623390808264083),
            (0.99995, 1000.0, 3.9063437367014084),
            (1e-09, 1000000.0, -5.997862455710896),
            (0.005, 1000000.0, -2.5758342201053344),
            (0.3, 1000000.0, -0.5244006798602092),
            (0.6, 1000000.0, 0.25334717053784184),
            (0.8, 1000000.0, 0.8416215930139844),
            (0.975, 1000000.0, 1.959966356814107),
            (0.99995, 1000000.0, 3.8906075818030925),
            (1e-09, 1000000000.0, -5.99780707044795),
            (0.005, 1000000000.0, -2.5758293084654484),
            (0.3, 1000000000.0, -0.5244005128751928),
            (0.6, 1000000000.0, 0.25334710320320153),
            (0.8, 1000000000.0, 0.8416212339323552),
            (0.975, 1000000000.0, 1.959963986912325),
            (0.99995, 1000000000.0, 3.8905919021084543),
        ] {
            assert_close(student_t_quantile(p, freedom), expected, &[p, freedom]);
        }
    }

    /// SciPy 1.17.1, `scipy.stats`.
    #[test]
    fn fisher() {
        for (x, above, below, expected) in [
            (0.001, 1.0, 1.0, 0.020124978303644132),
            (0.3, 1.0, 1.0, 0.3190057200399771),
            (0.9, 1.0, 1.0, 0.4832391038343556),
            (1.0, 1.0, 1.0, 0.5000000000000001),
            (1.1, 1.0, 1.0, 0.5151633479821038),
            (3.0, 1.0, 1.0, 0.6666666666666666),
            (50.0, 1.0, 1.0, 0.9105614780496843),
            (0.001, 2.0, 7.0, 0.0009993574794355626),
            (0.3, 2.0, 7.0, 0.2501134449525126),
            (0.9, 2.0, 7.0, 0.5510956772098711),
            (1.0, 2.0, 7.0, 0.5850513490191337),
            (1.1, 2.0, 7.0, 0.6157748893470737),
            (3.0, 2.0, 7.0, 0.885437783660932),
            (50.0, 2.0, 7.0, 0.9999283856724753),
            (0.001, 3.5, 12.2, 1.0282381493966103e-05),
            (0.3, 3.5, 12.2, 0.14869204378742545),
            (0.9, 3.5, 12.2, 0.517546053612793),
            (1.0, 3.5, 12.2, 0.5640477367654547),
            (1.1, 3.5, 12.2, 0.6061301405181921),
            (3.0, 3.5, 12.2, 0.9336049159258472),
            (50.0, 3.5, 12.2, 0.999999739148688),
            (0.001, 40.0, 3.0, 1.2358610987724694e-37),
            (0.3, 40.0, 3.0, 0.028841012505684015),
            (0.9, 40.0, 3.0, 0.3559318619799022),
            (1.0, 40.0, 3.0, 0.40279721823976755),
            (1.1, 40.0, 3.0, 0.4452162627078622),
            (3.0, 40.0, 3.0, 0.8012765407424919),
            (50.0, 40.0, 3.0, 0.9960945429547892),
            (0.001, 100.0, 200.0, 1.1073851682252788e-125),
            (0.3, 100.0, 200.0, 1.0857636466993034e-10),
            (0.9, 100.0, 200.0, 0.27950531760177),
            (1.0, 100.0, 200.0, 0.5076853868595463),
            (1.1, 100.0, 200.0, 0.716135788967884),
            (3.0, 100.0, 200.0, 0.9999999999786714),
            (50.0, 100.0, 200.0, 1.0),
            (0.9, 10000.0, 20000.0, 7.501109514286358e-10),
            (1.0, 10000.0, 20000.0, 0.5007677725956229),
            (1.1, 10000.0, 20000.0, 0.9999999842520089),
            (3.0, 10000.0, 20000.0, 1.0),
            (50.0, 10000.0, 20000.0, 1.0),
            (0.001, 5.0, 10000000.0, 9.386388194466397e-08),
            (0.3, 5.0, 10000000.0, 0.08693019843807345),
            (0.9, 5.0, 10000000.0, 0.5201165167303672),
            (1.0, 5.0, 10000000.0, 0.5841197519837472),
            (1.1, 5.0, 10000000.0, 0.6420540437621902),
            (3.0, 5.0, 10000000.0, 0.9896376236285831),
            (50.0, 5.0, 10000000.0, 1.0),
        ] {
            assert_close(f_cdf(x, above, below), expected, &[x, above, below]);
        }
    }

    /// SciPy 1.17.1, `scipy.stats`.
    #[test]
    fn chi_squared() {
        for (x, freedom, expected) in [
            (0.001, 1.0, 0.02522712063003961),
            (0.5, 1.0, 0.5204998778130466),
            (0.97, 1.0, 0.6753198211015754),
            (1.0, 1.0, 0.6826894921370859),
            (1.02, 1.0, 0.6874809908527517),
            (1.5, 1.0, 0.7793286380801531),
            (4.0, 1.0, 0.9544997361036415),
            (0.002, 2.0, 0.0009995001666250082),
            (1.0, 2.0, 0.3934693402873665),
            (1.94, 2.0, 0.6209169618966011),
            (2.0, 2.0, 0.6321205588285577),
            (2.04, 2.0, 0.6394050598269216),
            (3.0, 2.0, 0.7768698398515702),
            (8.0, 2.0, 0.9816843611112658),
            (0.0037, 3.7, 5.0218285589220025e-06),
            (1.85, 3.7, 0.2786644927851241),
            (3.589, 3.7, 0.5818991299934587),
            (3.7, 3.7, 0.5977008960747408),
            (3.7740000000000005, 3.7, 0.6079758611341441),
            (5.550000000000001, 3.7, 0.7968582667525401),
            (14.8, 3.7, 0.9960574139003666),
            (0.01, 10.0, 2.593339189839545e-14),
            (5.0, 10.0, 0.10882198108584877),
            (9.7, 10.0, 0.5328042198267544),
            (10.0, 10.0, 0.5595067149347879),
            (10.2, 10.0, 0.5768745855814004),
            (15.0, 10.0, 0.8679381437122794),
            (40.0, 10.0, 0.9999830552560699),
            (0.1, 100.0, 2.7805877168288313e-130),
            (50.0, 100.0, 6.953305247616201e-06),
            (97.0, 100.0, 0.43368123242798967),
            (100.0, 100.0, 0.5188083154720433),
            (102.0, 100.0, 0.5743948595168595),
            (150.0, 100.0, 0.9990960679576459),
            (400.0, 100.0, 1.0),
            (9700.0, 10000.0, 0.01625079517770992),
            (10000.0, 10000.0, 0.5018806340338173),
            (10200.0, 10000.0, 0.9206711189223811),
            (15000.0, 10000.0, 1.0),
            (40000.0, 10000.0, 1.0),
            (970000.0, 1000000.0, 3.611888333548656e-102),
            (1000000.0, 1000000.0, 0.5001880631966055),
            (1020000.0, 1000000.0, 1.0),
            (1500000.0, 1000000.0, 1.0),
            (4000000.0, 1000000.0, 1.0),
        ] {
            assert_close(chi_squared_cdf(x, freedom), expected, &[x, freedom]);
        }
    }

    /// By definition: the limits are each other's.
    #[test]
    fn infinite_degrees_of_freedom_are_the_limit() {
        for x in [-2.5, -0.1, 0.7, 3.0] {
            assert_eq!(student_t_cdf(x, f64::INFINITY), normal_cdf(x));
            assert_eq!(student_t_cdf(x, f64::MAX), normal_cdf(x));
            assert!((student_t_cdf(x, 1e15) - normal_cdf(x)).abs() < 1e-14);
        }
        for x in [0.2, 0.9, 1.3, 4.0] {
            assert!((f_cdf(x, 7.0, 1e14) - f_cdf(x, 7.0, f64::INFINITY)).abs() < 1e-12);
            assert!((f_cdf(x, 1e14, 7.0) - f_cdf(x, f64::INFINITY, 7.0)).abs() < 1e-12);
        }
        assert_eq!([0.9, 1.1].map(|x| f_cdf(x, f64::INFINITY, f64::INFINITY)), [0.0, 1.0]);
        assert_eq!([0.0, 0.5, 1.0].map(normal_quantile), [f64::NEG_INFINITY, 0.0, f64::INFINITY]);
    }

    /// The closed forms of 2 and 4 degrees of freedom.
    #[test]
    fn what_has_a_closed_form_is_met() {
        for x in [1e-3, 0.4, 1.9, 2.1, 3.9, 4.1, 7.9, 8.1, 30.0, 700.0] {
            assert_close(chi_squared_beyond(x, 2.0), libm::exp(-x / 2.0), &[x]);
            assert_close(chi_squared_beyond(x, 4.0), libm::exp(-x / 2.0) * (1.0 + x / 2.0), &[x]);
            for freedom in [1.0, 5.0, 30.0] {
                let beyond = libm::pow(1.0 + 2.0 * x / freedom, -freedom / 2.0);
                assert_close(f_beyond(x, 2.0, freedom), beyond, &[x, freedom]);
            }
            assert_close(f_beyond(x, 4.0, f64::INFINITY), chi_squared_beyond(4.0 * x, 4.0), &[x]);
        }
        // Student's t of one degree of freedom is Cauchy's, whose quantile loses no digits near the middle.
        let off = libm::exp2(-40.0);
        assert_close(student_t_quantile(0.5 + off, 1.0), PI * off, &[off]);
        assert_close(student_t_quantile(0.5 - off, 1.0), -PI * off, &[off]);
    }
}

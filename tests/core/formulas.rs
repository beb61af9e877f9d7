//! Every plain formula over ordinary and nasty inputs, to the last bit: tests/vectors/formulas.json, which Python reads as well.
//!
//! Numbers are the sixteen hexadecimal digits of their bits; of NaN the sign and the payload mean nothing, so it is `nan`. A row is the
//! inputs, one number after the other (0 for left and 1 for right), and the outputs, or the number of the error.

use alignment_core::adjustment::{self, TaperedShim};
use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};
use alignment_core::session::ByWheel;
use alignment_core::units::{self, DegreesMinutes};
use alignment_core::{Error, Side, propagation, steering, turns, vehicle, wheel};
use std::fmt::Write as _;

/// What an input may be.
#[derive(Clone, Copy)]
enum Kind {
    /// 0 or 1.
    Choice,
    /// A whole number.
    Whole(f64, f64),
    /// A number of an ordinary range.
    Between(f64, f64),
    /// Three components of a vector of length 1.
    Unit,
}
use Kind::{Between, Choice, Unit, Whole};

/// Numbers in, numbers out.
type Row = dyn Fn(&[f64]) -> Result<Vec<f64>, Error>;

struct Formula {
    path: &'static str,
    takes: Vec<Kind>,
    of: Box<Row>,
}

fn side(number: f64) -> Side {
    if number > 0.0 { Side::Right } else { Side::Left }
}

/// A formula of `N` inputs that gives one number.
fn one<const N: usize>(
    path: &'static str,
    takes: &[Kind],
    of: impl Fn([f64; N]) -> Result<f64, Error> + 'static,
) -> Formula {
    several(path, takes, move |given| of(given).map(|value| [value]))
}

fn several<const N: usize, const M: usize>(
    path: &'static str,
    takes: &[Kind],
    of: impl Fn([f64; N]) -> Result<[f64; M], Error> + 'static,
) -> Formula {
    let of = move |given: &[f64]| of(given.try_into().unwrap()).map(|found| found.to_vec());
    Formula { path, takes: takes.to_vec(), of: Box::new(of) }
}

#[expect(clippy::too_many_lines, reason = "a table: one row per formula")]
fn formulas() -> Vec<Formula> {
    let angle = Between(-60.0, 60.0);
    let small = Between(-9.0, 9.0);
    let tilt = Between(-29.0, 29.0);
    let steer = Between(2.0, 50.0);
    let (base, width) = (Between(1800.0, 4200.0), Between(1100.0, 1900.0));
    let axis = |angles: AxisAngles| [angles.caster_deg, angles.sai_deg];
    vec![
        one("units::deg_from_rad", &[Between(-4.0, 4.0)], |[a]| Ok(units::deg_from_rad(a))),
        one("units::rad_from_deg", &[angle], |[a]| Ok(units::rad_from_deg(a))),
        several("units::degrees_minutes_from_deg", &[angle], |[a]| {
            let DegreesMinutes { negative, degrees, minutes } = units::degrees_minutes_from_deg(a);
            Ok([f64::from(u8::from(negative)), degrees, minutes])
        }),
        one("units::deg_from_degrees_minutes", &[Choice, Between(0.0, 90.0), Between(0.0, 60.0)], |[n, d, m]| {
            units::deg_from_degrees_minutes(DegreesMinutes { negative: n > 0.0, degrees: d, minutes: m })
        }),
        one("wheel::camber_deg", &[Unit], wheel::camber_deg),
        one("wheel::toe_deg", &[Choice, Unit], |[s, x, y, z]| wheel::toe_deg(side(s), [x, y, z])),
        several(
            "wheel::contact_centre_mm",
            &[Between(-3000.0, 3000.0), width, Between(200.0, 400.0), Unit, Between(200.0, 400.0)],
            |[x, y, z, a, b, c, radius]| wheel::contact_centre_mm([x, y, z], [a, b, c], radius),
        ),
        one("wheel::toe_length_mm", &[small, Between(300.0, 700.0)], |[a, b]| wheel::toe_length_mm(a, b)),
        one("wheel::toe_from_length_deg", &[small, Between(300.0, 700.0)], |[a, b]| wheel::toe_from_length_deg(a, b)),
        one("wheel::side_slip_mm_per_m", &[small], |[a]| wheel::side_slip_mm_per_m(a)),
        one("wheel::angle_from_side_slip_deg", &[small], |[a]| wheel::angle_from_side_slip_deg(a)),
        one("vehicle::thrust_angle_deg", &[small, small], |[a, b]| Ok(vehicle::thrust_angle_deg(a, b))),
        one("vehicle::toe_to_thrust_line_deg", &[Choice, small, small], |[s, a, b]| {
            Ok(vehicle::toe_to_thrust_line_deg(side(s), a, b))
        }),
        one("vehicle::dog_tracking_offset_mm", &[base, small], |[a, b]| vehicle::dog_tracking_offset_mm(a, b)),
        one("steering::caster_deg", &[Unit], steering::caster_deg),
        one("steering::sai_deg", &[Choice, Unit], |[s, x, y, z]| steering::sai_deg(side(s), [x, y, z])),
        several("steering::axis_direction", &[Choice, tilt, tilt], |[s, a, b]| steering::axis_direction(side(s), a, b)),
        several(
            "steering::body_attitude_deg",
            &[small, small, Between(0.0, 40.0), Between(0.0, 40.0), base, width],
            |[fl, fr, rl, rr, wheelbase, track]| {
                steering::body_attitude_deg(&ByWheel { fl, fr, rl, rr }, wheelbase, track).map(<[f64; 2]>::from)
            },
        ),
        several("steering::axis_to_body", &[Unit, small, small], |[x, y, z, pitch, roll]| {
            steering::axis_to_body([x, y, z], pitch, roll)
        }),
        one("turns::ackermann_outer_deg", &[steer, width, base], |[a, b, c]| turns::ackermann_outer_deg(a, b, c)),
        one("turns::ackermann_inner_deg", &[steer, width, base], |[a, b, c]| turns::ackermann_inner_deg(a, b, c)),
        one("turns::ackermann_percent_by_toe_out", &[steer, steer, width, base], |[a, b, c, d]| {
            turns::ackermann_percent_by_toe_out(a, b, c, d)
        }),
        one("turns::ackermann_percent_by_cotangents", &[steer, steer, width, base], |[a, b, c, d]| {
            turns::ackermann_percent_by_cotangents(a, b, c, d)
        }),
        one("turns::turning_radius_mm", &[base, steer], |[a, b]| turns::turning_radius_mm(a, b)),
        one("gauge::yaw_from_plate_deg", &[Choice, angle, small], |[s, a, b]| gauge::yaw_from_plate_deg(side(s), a, b)),
        one("gauge::hub_line_azimuth_deg", &[Choice, angle, small, tilt], |[s, yaw_deg, camber_deg, pitch]| {
            gauge::hub_line_azimuth_deg(side(s), GaugePosition { yaw_deg, camber_deg }, pitch)
        }),
        several(
            "gauge::axis_from_cambers",
            &[Choice, Between(-25.0, -15.0), small, small, small, Between(15.0, 25.0), small],
            move |[s, a, b, c, d, e, f]| {
                let positions =
                    [[a, b], [c, d], [e, f]].map(|[yaw_deg, camber_deg]| GaugePosition { yaw_deg, camber_deg });
                gauge::axis_from_cambers(side(s), positions).map(axis)
            },
        ),
        several(
            "gauge::axis_from_pitches",
            &[Choice, Between(-25.0, -15.0), small, small, small, Between(15.0, 25.0), small],
            move |[s, a, b, c, d, e, f]| {
                let positions =
                    [[a, b], [c, d], [e, f]].map(|[azimuth_deg, pitch_deg]| PitchPosition { azimuth_deg, pitch_deg });
                gauge::axis_from_pitches(side(s), positions).map(axis)
            },
        ),
        one("gauge::caster_by_two_positions_deg", &[Choice, steer, small, small], |[s, a, b, c]| {
            gauge::caster_by_two_positions_deg(side(s), a, b, c)
        }),
        one("gauge::caster_by_linear_rule_deg", &[Choice, steer, small, small], |[s, a, b, c]| {
            gauge::caster_by_linear_rule_deg(side(s), a, b, c)
        }),
        one("gauge::sai_by_two_positions_deg", &[Choice, steer, small, small], |[s, a, b, c]| {
            gauge::sai_by_two_positions_deg(side(s), a, b, c)
        }),
        one("gauge::sai_by_linear_rule_deg", &[Choice, steer, small, small], |[s, a, b, c]| {
            gauge::sai_by_linear_rule_deg(side(s), a, b, c)
        }),
        one(
            "gauge::camber_at_yaw_deg",
            &[Choice, tilt, tilt, small, small, angle],
            |[s, caster_deg, sai_deg, yaw_deg, camber_deg, yaw]| {
                let ahead = GaugePosition { yaw_deg, camber_deg };
                gauge::camber_at_yaw_deg(side(s), AxisAngles { caster_deg, sai_deg }, ahead, yaw)
            },
        ),
        one(
            "gauge::pitch_at_azimuth_deg",
            &[Choice, tilt, tilt, small, small, angle],
            |[s, caster_deg, sai_deg, azimuth_deg, pitch_deg, azimuth]| {
                let ahead = PitchPosition { azimuth_deg, pitch_deg };
                gauge::pitch_at_azimuth_deg(side(s), AxisAngles { caster_deg, sai_deg }, ahead, azimuth)
            },
        ),
        one(
            "adjustment::tie_rod_steer_deg",
            &[Between(-6.0, 6.0), Between(0.5, 2.5), Between(60.0, 180.0)],
            |[a, b, c]| adjustment::tie_rod_steer_deg(a, b, c),
        ),
        one("adjustment::tie_rod_turns", &[small, Between(0.5, 2.5), Between(60.0, 180.0)], |[a, b, c]| {
            adjustment::tie_rod_turns(a, b, c)
        }),
        several(
            "adjustment::toe_changes_deg",
            &[small, small, small, Between(-40.0, 40.0), Between(10.0, 22.0)],
            |[a, b, c, d, e]| adjustment::toe_changes_deg(a, b, c, d, e).map(|found| [found.left_deg, found.right_deg]),
        ),
        one("adjustment::eccentric_shift_mm", &[Between(1.0, 12.0), angle], |[a, b]| {
            adjustment::eccentric_shift_mm(a, b)
        }),
        several("adjustment::eccentric_angles_deg", &[Between(-3.0, 3.0), Between(3.0, 12.0)], |[a, b]| {
            adjustment::eccentric_angles_deg(a, b).map(|found| [found.near_deg, found.far_deg])
        }),
        one("adjustment::slot_tilt_deg", &[small, Between(300.0, 700.0), tilt], |[a, b, c]| {
            adjustment::slot_tilt_deg(a, b, c)
        }),
        one("adjustment::slot_shift_mm", &[small, Between(300.0, 700.0), tilt], |[a, b, c]| {
            adjustment::slot_shift_mm(a, b, c)
        }),
        several(
            "adjustment::shim_thicknesses_mm",
            &[small, small, Between(0.05, 0.6), Between(-0.9, -0.1)],
            |[a, b, c, d]| adjustment::shim_thicknesses_mm(a, b, c, d).map(|found| [found.front_mm, found.rear_mm]),
        ),
        several(
            "adjustment::subframe_shift",
            &[small, tilt, small, tilt, small, Between(300.0, 700.0), width],
            |[caster_left, sai_left, caster_right, sai_right, caster, height, distance]| {
                let left = AxisAngles { caster_deg: caster_left, sai_deg: sai_left };
                let right = AxisAngles { caster_deg: caster_right, sai_deg: sai_right };
                adjustment::subframe_shift(left, right, caster, height, distance)
                    .map(|found| [found.lateral_mm, found.longitudinal_mm, found.yaw_deg])
            },
        ),
        several("adjustment::tapered_shim", &[small, small, small], |[a, b, c]| {
            adjustment::tapered_shim(a, b, c).map(|found| [found.taper_deg, found.bearing_deg])
        }),
        several(
            "adjustment::tapered_shim_changes",
            &[small, Between(0.0, 3.0), angle],
            |[a, taper_deg, bearing_deg]| {
                adjustment::tapered_shim_changes(a, TaperedShim { taper_deg, bearing_deg })
                    .map(|found| [found.camber_change_deg, found.toe_change_deg])
            },
        ),
        several(
            "adjustment::tapered_shim_on_shelf",
            &[small, Between(-2.0, 2.0), Between(-2.0, 2.0), Between(0.1, 0.5), Between(1.0, 3.0), Between(5.0, 60.0)],
            |[a, b, c, d, e, f]| {
                adjustment::tapered_shim_on_shelf(a, b, c, d, e, f)
                    .map(|found| [found.taper_deg, found.bearing_deg, found.camber_left_deg, found.toe_left_deg])
            },
        ),
        one("propagation::coverage_factor", &[Between(0.5, 0.999), Between(1.0, 60.0)], |[a, b]| {
            propagation::coverage_factor(a, b)
        }),
        one(
            "propagation::effective_degrees_of_freedom",
            &[Between(0.0, 2.0), Between(1.0, 60.0), Between(0.0, 2.0), Between(1.0, 60.0)],
            |[a, b, c, d]| propagation::effective_degrees_of_freedom(&[(a, b), (c, d)]),
        ),
        one("propagation::numerical_tolerance", &[Between(1e-4, 2.0), Whole(0.0, 5.0)], |[a, b]| {
            propagation::numerical_tolerance(a, b as u32)
        }),
    ]
}

/// Numbers drawn by seed (the SplitMix64 generator).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.next() % count as u64).unwrap()
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.next() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    fn ordinary(&mut self, kind: Kind) -> Vec<f64> {
        match kind {
            Choice => vec![self.below(2) as f64],
            Whole(low, high) => vec![self.between(low, high + 1.0).floor()],
            Between(low, high) => vec![self.between(low, high)],
            Unit => {
                let xyz = [(); 3].map(|()| self.between(-1.0, 1.0));
                let norm = xyz.iter().map(|v| v * v).sum::<f64>().sqrt();
                xyz.map(|v| v / norm).to_vec()
            }
        }
    }
}

/// Zeros, the ends of all ranges and just beyond them, what is tiny, huge or no number.
const NASTY: [f64; 34] = [
    0.0,
    -0.0,
    0.1,
    0.5,
    1.0,
    -1.0,
    5.0,
    10.0,
    -10.0,
    15.0,
    30.0,
    -30.0,
    45.0,
    -45.0,
    60.0,
    -60.0,
    80.0,
    89.999_999,
    90.0,
    100.0,
    1e-3,
    -1e-9,
    1e-300,
    5e-324,
    1.000_000_5,
    1000.0,
    -1000.0,
    12_000.0,
    1e9,
    1e300,
    -1e300,
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
];

fn bits(numbers: &[f64]) -> String {
    let words = numbers.iter().map(|v| if v.is_nan() { "nan".to_owned() } else { format!("{:016x}", v.to_bits()) });
    words.collect::<Vec<_>>().join(" ")
}

#[test]
fn the_vectors_of_the_formulas_are_current() {
    let mut text = "{\n".to_owned();
    let formulas = formulas();
    for (place, Formula { path, takes, of }) in formulas.iter().enumerate() {
        let mut draw = Draw(place as u64);
        let mut rows = Vec::new();
        for case in 0..60 {
            let mut given: Vec<f64> = takes.iter().flat_map(|kind| draw.ordinary(*kind)).collect();
            // Two thirds of the rows have one number, or two, that no one expects.
            for _ in 0..case % 3 {
                let at = draw.below(given.len());
                let fixed = takes.iter().any(|kind| matches!(kind, Whole(..))) && at + 1 == given.len();
                if !(fixed || at == 0 && matches!(takes[0], Choice)) {
                    let near = given[at] * (1.0 + 1e-7);
                    given[at] = if draw.below(6) == 0 { near } else { NASTY[draw.below(NASTY.len())] };
                }
            }
            let found = match of(&given) {
                Ok(found) => format!("\"{}\"", bits(&found)),
                Err(error) => error.code.number().to_string(),
            };
            rows.push(format!("    [\"{}\", {found}]", bits(&given)));
        }
        let errors = rows.iter().filter(|row| !row.ends_with("\"]")).count();
        assert!(errors < 45, "{path}: {errors} of 60 rows fail");
        let comma = if place + 1 < formulas.len() { "," } else { "" };
        writeln!(text, "  \"{path}\": [\n{}\n  ]{comma}", rows.join(",\n")).unwrap();
    }
    text.push_str("}\n");
    crate::assert_generated("tests/vectors/formulas.json", &text);
}

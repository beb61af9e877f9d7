//! The plain formulas, on one row of numbers or on arrays of them.
//!
//! A row is what Python's arguments hold at one place, one number after the other: of a vector its components, of a position its fields,
//! 0 for left and 1 for right. What a formula gives is a row as well.

use crate::{caught, error};
use alignment_core::adjustment::{self, TaperedShim};
use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};
use alignment_core::session::ByWheel;
use alignment_core::units::{self, DegreesMinutes};
use alignment_core::{Error, Side, propagation, steering, turns, vehicle, wheel};
use numpy::{PyArray1, PyArray2, PyArrayMethods, PyReadonlyArrayDyn};
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;

/// A row in, a row out.
type Row = Box<dyn Fn(&[f64], &mut [f64]) -> Result<(), Error> + Send + Sync>;

/// A formula, and how many numbers it gives.
struct Formula {
    gives: usize,
    of: Row,
}

/// A formula that takes `N` numbers.
fn row<const N: usize, const M: usize>(of: fn([f64; N]) -> Result<[f64; M], Error>) -> Formula {
    let of = move |given: &[f64], found: &mut [f64]| {
        let given =
            given.try_into().unwrap_or_else(|_| unreachable!("Python hands over one number for each that is taken"));
        found.copy_from_slice(&of(given)?);
        Ok(())
    };
    Formula { gives: M, of: Box::new(of) }
}

fn one(value: f64) -> [f64; 1] {
    [value]
}

fn side(number: f64) -> Side {
    if number > 0.0 { Side::Right } else { Side::Left }
}

fn axis(angles: AxisAngles) -> [f64; 2] {
    [angles.caster_deg, angles.sai_deg]
}

fn numerical_tolerance([standard_uncertainty, digits]: [f64; 2]) -> Result<[f64; 1], Error> {
    // A whole number in Python; one that Rust's type cannot hold is out of range all the same.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "it saturates")]
    let whole = digits as u32;
    propagation::numerical_tolerance(standard_uncertainty, whole).map(one).map_err(|mut error| {
        if error.input == Some("significant_digits") {
            error.value = Some(digits);
        }
        error
    })
}

/// What is found in rows, and the codes of its errors.
type Found<'py> = (Bound<'py, PyArray2<f64>>, Bound<'py, PyArray1<i32>>);

/// The formula of a path.
#[expect(clippy::too_many_lines, reason = "a table: one row per formula")]
fn formula(path: &str) -> Option<Formula> {
    Some(match path {
        "units::deg_from_rad" => row(|[angle]| Ok([units::deg_from_rad(angle)])),
        "units::rad_from_deg" => row(|[angle]| Ok([units::rad_from_deg(angle)])),
        "units::degrees_minutes_from_deg" => row(|[angle]| {
            let DegreesMinutes { negative, degrees, minutes } = units::degrees_minutes_from_deg(angle);
            Ok([f64::from(u8::from(negative)), degrees, minutes])
        }),
        "units::deg_from_degrees_minutes" => row(|[negative, degrees, minutes]| {
            units::deg_from_degrees_minutes(DegreesMinutes { negative: negative > 0.0, degrees, minutes }).map(one)
        }),
        "wheel::camber_deg" => row(|spindle| wheel::camber_deg(spindle).map(one)),
        "wheel::toe_deg" => row(|[s, x, y, z]| wheel::toe_deg(side(s), [x, y, z]).map(one)),
        "wheel::contact_centre_mm" => {
            row(|[x, y, z, sx, sy, sz, radius]| wheel::contact_centre_mm([x, y, z], [sx, sy, sz], radius))
        }
        "wheel::toe_length_mm" => row(|[toe, diameter]| wheel::toe_length_mm(toe, diameter).map(one)),
        "wheel::toe_from_length_deg" => row(|[length, diameter]| wheel::toe_from_length_deg(length, diameter).map(one)),
        "wheel::side_slip_mm_per_m" => row(|[angle]| wheel::side_slip_mm_per_m(angle).map(one)),
        "wheel::angle_from_side_slip_deg" => row(|[slip]| wheel::angle_from_side_slip_deg(slip).map(one)),
        "vehicle::thrust_angle_deg" => row(|[left, right]| Ok([vehicle::thrust_angle_deg(left, right)])),
        "vehicle::toe_to_thrust_line_deg" => {
            row(|[s, toe, thrust]| Ok([vehicle::toe_to_thrust_line_deg(side(s), toe, thrust)]))
        }
        "vehicle::dog_tracking_offset_mm" => {
            row(|[wheelbase, thrust]| vehicle::dog_tracking_offset_mm(wheelbase, thrust).map(one))
        }
        "steering::caster_deg" => row(|axis| steering::caster_deg(axis).map(one)),
        "steering::sai_deg" => row(|[s, x, y, z]| steering::sai_deg(side(s), [x, y, z]).map(one)),
        "steering::axis_direction" => row(|[s, caster, sai]| steering::axis_direction(side(s), caster, sai)),
        "steering::body_attitude_deg" => row(|[fl, fr, rl, rr, wheelbase, track]| {
            steering::body_attitude_deg(&ByWheel { fl, fr, rl, rr }, wheelbase, track)
                .map(|(pitch, roll)| [pitch, roll])
        }),
        "steering::axis_to_body" => row(|[x, y, z, pitch, roll]| steering::axis_to_body([x, y, z], pitch, roll)),
        "turns::ackermann_outer_deg" => {
            row(|[inner, distance, wheelbase]| turns::ackermann_outer_deg(inner, distance, wheelbase).map(one))
        }
        "turns::ackermann_inner_deg" => {
            row(|[outer, distance, wheelbase]| turns::ackermann_inner_deg(outer, distance, wheelbase).map(one))
        }
        "turns::ackermann_percent_by_toe_out" => row(|[inner, outer, distance, wheelbase]| {
            turns::ackermann_percent_by_toe_out(inner, outer, distance, wheelbase).map(one)
        }),
        "turns::ackermann_percent_by_cotangents" => row(|[inner, outer, distance, wheelbase]| {
            turns::ackermann_percent_by_cotangents(inner, outer, distance, wheelbase).map(one)
        }),
        "turns::turning_radius_mm" => row(|[wheelbase, steer]| turns::turning_radius_mm(wheelbase, steer).map(one)),
        "gauge::yaw_from_plate_deg" => row(|[s, plate, toe]| gauge::yaw_from_plate_deg(side(s), plate, toe).map(one)),
        "gauge::hub_line_azimuth_deg" => row(|[s, yaw_deg, camber_deg, pitch]| {
            gauge::hub_line_azimuth_deg(side(s), GaugePosition { yaw_deg, camber_deg }, pitch).map(one)
        }),
        "gauge::axis_from_cambers" => row(|[s, y0, c0, y1, c1, y2, c2]| {
            let read = [[y0, c0], [y1, c1], [y2, c2]];
            let positions = read.map(|[yaw_deg, camber_deg]| GaugePosition { yaw_deg, camber_deg });
            gauge::axis_from_cambers(side(s), positions).map(axis)
        }),
        "gauge::axis_from_pitches" => row(|[s, a0, p0, a1, p1, a2, p2]| {
            let read = [[a0, p0], [a1, p1], [a2, p2]];
            let positions = read.map(|[azimuth_deg, pitch_deg]| PitchPosition { azimuth_deg, pitch_deg });
            gauge::axis_from_pitches(side(s), positions).map(axis)
        }),
        "gauge::caster_by_two_positions_deg" => {
            row(|[s, turn, left, right]| gauge::caster_by_two_positions_deg(side(s), turn, left, right).map(one))
        }
        "gauge::caster_by_linear_rule_deg" => {
            row(|[s, turn, left, right]| gauge::caster_by_linear_rule_deg(side(s), turn, left, right).map(one))
        }
        "gauge::sai_by_two_positions_deg" => {
            row(|[s, turn, left, right]| gauge::sai_by_two_positions_deg(side(s), turn, left, right).map(one))
        }
        "gauge::sai_by_linear_rule_deg" => {
            row(|[s, turn, left, right]| gauge::sai_by_linear_rule_deg(side(s), turn, left, right).map(one))
        }
        "gauge::camber_at_yaw_deg" => row(|[s, caster_deg, sai_deg, ahead_yaw, ahead_camber, yaw]| {
            let ahead = GaugePosition { yaw_deg: ahead_yaw, camber_deg: ahead_camber };
            gauge::camber_at_yaw_deg(side(s), AxisAngles { caster_deg, sai_deg }, ahead, yaw).map(one)
        }),
        "gauge::pitch_at_azimuth_deg" => row(|[s, caster_deg, sai_deg, ahead_azimuth, ahead_pitch, azimuth]| {
            let ahead = PitchPosition { azimuth_deg: ahead_azimuth, pitch_deg: ahead_pitch };
            gauge::pitch_at_azimuth_deg(side(s), AxisAngles { caster_deg, sai_deg }, ahead, azimuth).map(one)
        }),
        "adjustment::tie_rod_steer_deg" => {
            row(|[turns, pitch, arm]| adjustment::tie_rod_steer_deg(turns, pitch, arm).map(one))
        }
        "adjustment::tie_rod_turns" => row(|[steer, pitch, arm]| adjustment::tie_rod_turns(steer, pitch, arm).map(one)),
        "adjustment::toe_changes_deg" => row(|[left, right, total, wheel, ratio]| {
            adjustment::toe_changes_deg(left, right, total, wheel, ratio).map(|found| [found.left_deg, found.right_deg])
        }),
        "adjustment::eccentric_shift_mm" => {
            row(|[eccentricity, angle]| adjustment::eccentric_shift_mm(eccentricity, angle).map(one))
        }
        "adjustment::eccentric_angles_deg" => row(|[shift, eccentricity]| {
            adjustment::eccentric_angles_deg(shift, eccentricity).map(|found| [found.near_deg, found.far_deg])
        }),
        "adjustment::slot_tilt_deg" => {
            row(|[shift, height, lean]| adjustment::slot_tilt_deg(shift, height, lean).map(one))
        }
        "adjustment::slot_shift_mm" => {
            row(|[tilt, height, lean]| adjustment::slot_shift_mm(tilt, height, lean).map(one))
        }
        "adjustment::shim_thicknesses_mm" => row(|[camber, caster, by_both, by_moved]| {
            adjustment::shim_thicknesses_mm(camber, caster, by_both, by_moved)
                .map(|found| [found.front_mm, found.rear_mm])
        }),
        "adjustment::subframe_shift" => row(|[cl, sl, cr, sr, caster, height, distance]| {
            let left = AxisAngles { caster_deg: cl, sai_deg: sl };
            let right = AxisAngles { caster_deg: cr, sai_deg: sr };
            adjustment::subframe_shift(left, right, caster, height, distance)
                .map(|found| [found.lateral_mm, found.longitudinal_mm, found.yaw_deg])
        }),
        "adjustment::tapered_shim" => row(|[camber, camber_change, toe_change]| {
            adjustment::tapered_shim(camber, camber_change, toe_change)
                .map(|found| [found.taper_deg, found.bearing_deg])
        }),
        "adjustment::tapered_shim_changes" => row(|[camber, taper_deg, bearing_deg]| {
            adjustment::tapered_shim_changes(camber, TaperedShim { taper_deg, bearing_deg })
                .map(|found| [found.camber_change_deg, found.toe_change_deg])
        }),
        "adjustment::tapered_shim_on_shelf" => row(|[camber, camber_change, toe_change, step, most, turn]| {
            adjustment::tapered_shim_on_shelf(camber, camber_change, toe_change, step, most, turn)
                .map(|found| [found.taper_deg, found.bearing_deg, found.camber_left_deg, found.toe_left_deg])
        }),
        "propagation::coverage_factor" => {
            row(|[probability, freedom]| propagation::coverage_factor(probability, freedom).map(one))
        }
        "propagation::numerical_tolerance" => row(numerical_tolerance),
        // The only one that takes as many as there are: share and degrees of freedom of each part.
        "propagation::effective_degrees_of_freedom" => {
            let of = |given: &[f64], found: &mut [f64]| {
                let shares: Vec<(f64, f64)> = given.chunks_exact(2).map(|part| (part[0], part[1])).collect();
                found[0] = propagation::effective_degrees_of_freedom(&shares)?;
                Ok(())
            };
            Formula { gives: 1, of: Box::new(of) }
        }
        _ => return None,
    })
}

fn known(path: &str) -> PyResult<Formula> {
    formula(path).ok_or_else(|| PyValueError::new_err(format!("no formula has the path {path}")))
}

/// What a formula gives for one row, and the code of its error, 0 for none; or the error is raised, if it is to be.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn of_numbers(py: Python<'_>, path: &str, row: Vec<f64>, raising: bool) -> PyResult<(Vec<f64>, i32)> {
    let Formula { gives, of } = known(path)?;
    let mut found = vec![f64::NAN; gives];
    match caught(|| of(&row, &mut found))? {
        Ok(()) => Ok((found, 0)),
        Err(fault) if raising => Err(error::at(py, &fault, &[])),
        Err(fault) => Ok((found, fault.code.number())),
    }
}

/// What a formula gives place by place for columns of one shape, one row for each, and the code of the error of each place, 0 for none.
///
/// Where there is an error the numbers are NaN; or it is raised, with the place, if it is to be.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn of_arrays<'py>(
    py: Python<'py>,
    path: &str,
    columns: Vec<PyReadonlyArrayDyn<'py, f64>>,
    raising: bool,
) -> PyResult<Found<'py>> {
    let Formula { gives, of } = known(path)?;
    let views: Vec<_> = columns.iter().map(PyReadonlyArrayDyn::as_array).collect();
    let shape = views.first().map_or_else(Vec::new, |view| view.shape().to_vec());
    if views.is_empty() || views.iter().any(|view| view.shape() != shape) {
        return Err(PyValueError::new_err("columns of one shape are needed"));
    }
    let count = views[0].len();
    let work = || {
        let mut values = vec![f64::NAN; count * gives];
        let mut codes = vec![0; count];
        let mut row = vec![0.0; views.len()];
        let mut places: Vec<_> = views.iter().map(|view| view.iter()).collect();
        for (place, code) in codes.iter_mut().enumerate() {
            for (number, column) in row.iter_mut().zip(&mut places) {
                *number = column.next().copied().unwrap_or(f64::NAN);
            }
            if let Err(fault) = of(&row, &mut values[place * gives..(place + 1) * gives]) {
                if raising {
                    return Err((place, fault));
                }
                *code = fault.code.number();
            }
        }
        Ok((values, codes))
    };
    let (values, codes) =
        py.detach(|| caught(work))?.map_err(|(place, fault)| error::at(py, &fault, &index(place, &shape)))?;
    let table = PyArray1::from_vec(py, values).reshape([count, gives])?;
    Ok((table, PyArray1::from_vec(py, codes)))
}

/// The indices of a place, the last one running fastest.
fn index(place: usize, shape: &[usize]) -> Vec<usize> {
    let mut rest = place;
    let mut index: Vec<usize> = shape
        .iter()
        .rev()
        .map(|&length| {
            let at = rest % length;
            rest /= length;
            at
        })
        .collect();
    index.reverse();
    index
}

/// The sizes of a tyre in mm: section width, aspect ratio in percent, rim diameter, section height, overall diameter.
#[pyfunction]
pub(crate) fn tyre_size(py: Python<'_>, code: &str) -> PyResult<[f64; 5]> {
    let size = alignment_core::tyre::size_from_code(code).map_err(|fault| error::from_core(py, &fault))?;
    Ok([
        size.section_width_mm,
        size.aspect_ratio_percent,
        size.rim_diameter_mm,
        size.section_height_mm,
        size.overall_diameter_mm,
    ])
}

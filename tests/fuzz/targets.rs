//! What must hold whatever the bytes say: no panic, no NaN or infinity in what is given, and a refusal that can be read. One function per
//! family of public functions; each tells whether anything was given, so that a family that only ever refuses is noticed.

mod bytes;

use alignment_core::adjustment::{self, Adjuster, Effect, Line, Request, Rigid, Stance, TaperedShim};
use alignment_core::conformity::{self, Decision, Limits, Production, Rule, Tolerance, Uncertain};
use alignment_core::diagnosis::{self, NormalTolerances};
use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};
use alignment_core::json::{
    measurement_to_json, session_from_json, session_to_json, specification_from_json, specification_to_json,
    stand_requirements_from_json, stand_requirements_to_json,
};
use alignment_core::live::{LiveSettings, Steering, Tracker};
use alignment_core::monte_carlo::Distribution;
use alignment_core::paths::COUNT;
use alignment_core::propagation::{Input, Number, coverage_factor, law_of_propagation, numerical_tolerance};
use alignment_core::record::{Attachment, Record};
use alignment_core::session::{Datum, InputUncertainty, Method, PoseNoise, RollingBody, SweepBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{self, GroundLine, PlacedStand, ReferencePoint, Required, StandMoves, StandReadings};
use alignment_core::{
    Alignment, Assessment, ByWheel, Error, Pose, Wheel, assess, compensation, datum, measure, pose::Axes,
    repeatability, steering, sweep, turns, tyre, uncertainty, units, vehicle, wheel,
};
use bytes::Bytes;
use std::fmt::Debug;
use std::sync::LazyLock;

/// Fails if a number in the value is NaN or infinite: `Debug` shows every field, and JSON would write null.
fn assert_finite(value: &impl Debug) {
    let text = format!("{value:?}");
    let broken = text.split(|c: char| !c.is_ascii_alphanumeric()).any(|word| word == "NaN" || word == "inf");
    assert!(!broken, "{text}");
}

/// Whether something was given; fails if what was given, or the refusal, is unsound.
fn given<T: Debug>(result: Result<T, Error>) -> bool {
    match result {
        Ok(value) => {
            assert_finite(&value);
            true
        }
        Err(error) => {
            assert_finite(&error);
            assert!(!error.to_string().is_empty());
            false
        }
    }
}

/// The constructors of a pose, its checks, and means of frames.
pub fn pose(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    // A sound pose comes out of every form; so do the numbers of a spoiled one, and are refused when it is used.
    let pose = bytes.pose();
    let [[a, b, c], [d, e, f], [g, h, i]] = pose.rotation;
    let [x, y, z] = pose.translation_mm;
    let last = if bytes.flag() { bytes.numbers() } else { [0.0, 0.0, 0.0, 1.0] };
    let [p, q, r, s] = last;
    let ([x_axis, y_axis, z_axis], (sin, cos)) = (bytes.unit(), bytes.between(-3.2, 3.2).sin_cos());
    let poses = [
        Ok(pose),
        Pose::from_quaternion_wxyz(bytes.numbers(), pose.translation_mm),
        Pose::from_quaternion_wxyz([cos, x_axis * sin, y_axis * sin, z_axis * sin], pose.translation_mm),
        Pose::from_rotation_vector_rad(bytes.numbers(), pose.translation_mm),
        Pose::from_matrix4([[a, b, c, x], [d, e, f, y], [g, h, i, z], last]),
        Pose::from_matrix4_row_major([a, b, c, x, d, e, f, y, g, h, i, z, p, q, r, s]),
        Pose::from_matrix4_column_major([a, d, g, p, b, e, h, q, c, f, i, r, x, y, z, s]),
        Ok(Pose::from_left_handed_y_right(pose.rotation, pose.translation_mm)),
        Ok(Pose::from_left_handed_y_up(pose.rotation, pose.translation_mm)),
        Ok(Pose::from_right_handed_y_up(pose.rotation, pose.translation_mm)),
        Ok(Pose::from_z_down(pose.rotation, pose.translation_mm)),
    ];
    let _ = Axes::ZDown.direction(bytes.numbers());
    let frames: Vec<Pose> =
        if bytes.flag() { (0..bytes.below(5)).map(|_| bytes.pose()).collect() } else { bytes.frames_near(pose) };
    let mut any = given(Pose::mean(&frames)) | given(Pose::mean_and_spread(&frames));
    for pose in poses {
        any |= given(pose.and_then(|pose| pose.rig_from_target()));
    }
    any
}

/// The session as text: any text, and texts that were spoiled here and there.
pub fn session_text(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let text = if bytes.below(8) == 7 { bytes.text() } else { bytes.session_text() };
    match session_from_json(&text) {
        Ok(mut session) => {
            assert_eq!(session_from_json(&session_to_json(&session)).as_ref(), Ok(&session));
            session.note = None; // a remark may well say NaN
            assert_finite(&session);
            given(measure(&session));
            true
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            false
        }
    }
}

/// Rolling compensation.
pub fn rolling(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (session, _) = bytes.session();
    let up = session.up.unwrap_or_else(|| bytes.numbers());
    let radii = if bytes.flag() { bytes.radii() } else { session.loaded_radius_mm.unwrap_or_default() };
    let body = if bytes.flag() { RollingBody::Turns } else { RollingBody::Translates };
    given(compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &radii, body))
}

/// Compensation by spinning, and of one wheel alone, rolled or spun.
pub fn spinning(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (session, _) = bytes.session();
    let up = session.up.unwrap_or_else(|| bytes.numbers());
    let all = given(compensation::from_spinning(&session.rolling, up, &session.clamp_standoff_mm));

    let wheel = bytes.wheel();
    let mut poses: Vec<Pose> =
        session.rolling.iter().filter_map(|station| station.get(wheel).frames().first().copied()).collect();
    if bytes.below(4) == 3 {
        poses.push(bytes.pose());
    }
    // From the rear wheel to the front one, unless one was not seen.
    let at = |wheel: Wheel| session.ahead.get(wheel).frames().first().map(|pose| pose.translation_mm);
    let (rear, front) = if bytes.flag() { (Wheel::Rl, Wheel::Fl) } else { (Wheel::Rr, Wheel::Fr) };
    let along: Option<[f64; 3]> =
        at(rear).zip(at(front)).map(|(rear, front)| core::array::from_fn(|i| front[i] - rear[i]));
    let forward = match along {
        Some(along) if bytes.below(4) != 3 => {
            let length = along.iter().map(|v| v * v).sum::<f64>().sqrt();
            along.map(|v| v / length)
        }
        _ => bytes.unit(),
    };
    let side = if bytes.below(8) == 7 { bytes.side() } else { wheel.side() };
    let (standoff, radius) = (*session.clamp_standoff_mm.get(wheel), bytes.radii().front);
    all | given(compensation::wheel_from_rolling(&poses, side, forward, up, standoff, radius))
        | given(compensation::wheel_from_spinning(&poses, side, forward, up, standoff))
}

/// One reading from four poses.
pub fn ahead(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (session, mut compensation) = bytes.session();
    let mut poses =
        ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied().unwrap_or_else(|| bytes.pose()));
    for _ in 0..bytes.below(3) {
        let wheel = bytes.wheel();
        bytes.spoil_pose(poses.get_mut(wheel));
    }
    for _ in 0..bytes.below(3) {
        let wheel = compensation.get_mut(bytes.wheel());
        let [a, b, c] = &mut wheel.spindle_in_target;
        let [x, y, z] = &mut wheel.centre_in_target_mm;
        let rest = [&mut wheel.runout_deg].into_iter().chain(&mut wheel.rolling_radius_mm);
        let mut numbers: Vec<&mut f64> = [a, b, c, x, y, z].into_iter().chain(rest).collect();
        let number = bytes.below(numbers.len());
        bytes.spoil_number(numbers[number]);
        if bytes.flag() {
            wheel.spindle_in_target = bytes.unit();
        }
    }
    let up = session.up.unwrap_or_else(|| bytes.numbers());
    let radii = bytes.radii();
    given(vehicle::ahead_readings(&compensation, &poses, up, &radii, bytes.centreline()))
}

/// The formulas of one wheel.
pub fn wheels(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let spindle = bytes.unit();
    let radius_mm = bytes.between(50.0, 1500.0);
    given(wheel::camber_deg(spindle))
        | given(wheel::toe_deg(bytes.side(), spindle))
        | given(wheel::contact_centre_mm(bytes.numbers(), spindle, radius_mm))
}

/// The formulas of the steering axis.
pub fn steering_axis(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (axis, side) = (bytes.unit(), bytes.side());
    let heights = ByWheel::from_fn(|_: Wheel| bytes.between(-2000.0, 5000.0));
    let attitude = steering::body_attitude_deg(&heights, bytes.between(500.0, 12_000.0), bytes.between(300.0, 4000.0));
    given(steering::caster_deg(axis))
        | given(steering::sai_deg(side, axis))
        | given(attitude)
        | given(steering::axis_direction(side, bytes.between(-80.0, 80.0), bytes.between(-80.0, 80.0)))
        | given(steering::axis_to_body(axis, bytes.between(-45.0, 45.0), bytes.between(-45.0, 45.0)))
}

/// The formulas of turning, and those that refuse nothing.
pub fn turning(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (angle_deg, axis_mm, wheelbase_mm) =
        (bytes.between(0.0, 90.0), bytes.between(1.0, 1e5), bytes.between(1.0, 1e5));
    // These take any number, and give NaN for NaN.
    let [a, b] = bytes.numbers();
    let thrust_deg = vehicle::thrust_angle_deg(a, b);
    let _ = vehicle::toe_to_thrust_line_deg(bytes.side(), a, thrust_deg);
    let _ = units::degrees_minutes_from_deg(a).to_string();
    given(turns::ackermann_outer_deg(angle_deg, axis_mm, wheelbase_mm))
        | given(turns::ackermann_inner_deg(angle_deg, axis_mm, wheelbase_mm))
}

/// The hand gauge: what it says of the axis, and what it must read.
pub fn gauge(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let side = bytes.side();
    let axis = AxisAngles { caster_deg: bytes.between(-30.0, 30.0), sai_deg: bytes.between(-30.0, 30.0) };
    let ahead = GaugePosition { yaw_deg: bytes.between(-10.0, 10.0), camber_deg: bytes.between(-15.0, 15.0) };
    let level = PitchPosition { azimuth_deg: bytes.between(-10.0, 10.0), pitch_deg: bytes.between(-15.0, 15.0) };
    // The ends of the ranges, where the arc sine comes nearest to its own.
    let turns: [f64; 3] = core::array::from_fn(|_| bytes.between(-60.0, 60.0));
    let cambers = turns.map(|yaw_deg| gauge::camber_at_yaw_deg(side, axis, ahead, yaw_deg));
    let pitches = turns.map(|azimuth_deg| gauge::pitch_at_azimuth_deg(side, axis, level, azimuth_deg));
    let any: [f64; 3] = core::array::from_fn(|_| bytes.between(-45.0, 45.0));
    let foretold = bytes.flag();
    let read = |found: &[Result<f64, Error>; 3], i: usize| match &found[i] {
        Ok(found) if foretold => *found,
        _ => any[i],
    };
    let by_camber = core::array::from_fn(|i| GaugePosition { yaw_deg: turns[i], camber_deg: read(&cambers, i) });
    let by_pitch = core::array::from_fn(|i| PitchPosition { azimuth_deg: turns[i], pitch_deg: read(&pitches, i) });
    let (turn, [left, right, pitch]) = (bytes.between(0.0, 60.0), any);
    cambers.into_iter().chain(pitches).fold(false, |any, found| any | given(found))
        | given(gauge::yaw_from_plate_deg(side, turns[0], ahead.yaw_deg))
        | given(gauge::hub_line_azimuth_deg(side, by_camber[0], pitch))
        | given(gauge::axis_from_cambers(side, by_camber))
        | given(gauge::axis_from_pitches(side, by_pitch))
        | given(gauge::caster_by_two_positions_deg(side, turn, left, right))
        | given(gauge::caster_by_linear_rule_deg(side, turn, left, right))
        | given(gauge::sai_by_two_positions_deg(side, turn, left, right))
        | given(gauge::sai_by_linear_rule_deg(side, turn, left, right))
}

/// Tyre sizes: any text, and codes that are nearly right.
pub fn tyre(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let text = if bytes.below(4) == 3 { bytes.text() } else { bytes.tyre_code() };
    given(tyre::size_from_code(&text))
}

/// A plane through points: any, in one plane, or nearly in one line.
pub fn plane(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let count = bytes.below(7);
    let (along, across, flat) = (bytes.unit(), bytes.unit(), bytes.flag());
    let mut points: Vec<[f64; 3]> = (0..count)
        .map(|_| {
            let [a, b] = [bytes.between(-3000.0, 3000.0), bytes.between(-3000.0, 3000.0)];
            if flat { core::array::from_fn(|i| a * along[i] + b * across[i]) } else { [a, b, bytes.between(-5.0, 5.0)] }
        })
        .collect();
    if let Some(point) = points.first_mut()
        && bytes.below(4) == 3
    {
        bytes.spoil_number(&mut point[2]);
    }
    given(datum::plane_through(&points))
}

/// The conversions that are used by hand. Whether all of them gave something: one of so many always does.
pub fn by_hand(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (angle_deg, diameter_mm) = (bytes.between(-45.0, 45.0), bytes.between(100.0, 3000.0));
    let (length_mm, slip) = (bytes.between(-diameter_mm, diameter_mm), bytes.between(-1000.0, 1000.0));
    let (inner_deg, outer_deg) = (bytes.between(1.0, 90.0), bytes.between(1.0, 90.0));
    let (axis_mm, wheelbase_mm) = (bytes.between(1.0, 1e5), bytes.between(500.0, 12_000.0));
    let written = units::DegreesMinutes {
        negative: bytes.flag(),
        degrees: bytes.between(0.0, 360.0),
        minutes: bytes.between(0.0, 60.0),
    };
    given(wheel::toe_length_mm(angle_deg, diameter_mm))
        & given(wheel::toe_from_length_deg(length_mm, diameter_mm))
        & given(wheel::side_slip_mm_per_m(angle_deg))
        & given(wheel::angle_from_side_slip_deg(slip))
        & given(turns::ackermann_percent_by_toe_out(inner_deg, outer_deg, axis_mm, wheelbase_mm))
        & given(turns::ackermann_percent_by_cotangents(inner_deg, outer_deg, axis_mm, wheelbase_mm))
        & given(turns::turning_radius_mm(wheelbase_mm, inner_deg))
        & given(vehicle::dog_tracking_offset_mm(wheelbase_mm, angle_deg))
        & given(units::deg_from_degrees_minutes(written))
}

/// Repeats of a reading: of any size, all alike, or nearly so.
pub fn repeats(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (shape, ragged) = ([0, 1, 2].map(|_| 1 + bytes.below(4)), bytes.below(8) == 7);
    let (centre, spread) = (bytes.between(-1e9, 1e9), bytes.one_of([0.0, 1e-300, 1e-160, 1e-9, 1.0, 1e8]));
    let (any, centre) = (bytes.flag(), if bytes.flag() { 0.0 } else { centre });
    let value = |bytes: &mut Bytes| if any { bytes.number() } else { centre + spread * bytes.between(-1.0, 1.0) };
    let mut study: Vec<Vec<Vec<f64>>> = (0..shape[0])
        .map(|_| (0..shape[1]).map(|_| (0..shape[2]).map(|_| value(&mut bytes)).collect()).collect())
        .collect();
    if ragged {
        let car = bytes.below(shape[0]);
        study[car][0].truncate(bytes.below(3));
    }
    let (pool_above_p, tolerance) = (bytes.between(0.0, 1.0), bytes.flag().then(|| bytes.between(1e-9, 1e9)));
    given(repeatability::repeatability(&study[0][0]))
        | given(repeatability::one_way(&study[0]))
        | given(repeatability::crossed(&study, pool_above_p, tolerance))
}

/// Verdicts on one value, on the readings of a specification that was spoiled here and there, and the risks of judging many.
pub fn judging(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let limits = |bytes: &mut Bytes| Limits {
        min: bytes.flag().then(|| bytes.between(-2.0, 1.0)),
        max: bytes.flag().then(|| bytes.between(-1.0, 2.0)),
    };
    let known = |bytes: &mut Bytes| Uncertain {
        standard_uncertainty: bytes.between(0.0, 1.0),
        degrees_of_freedom: bytes.flag().then(|| bytes.between(1.0, 100.0)),
    };
    let rule = bytes.one_of([Rule::Guarded, Rule::SimpleAcceptance]);
    let decision = Decision { rule, probability: bytes.between(0.5, 0.999) };
    let (value, of_one) = (bytes.between(-3.0, 3.0), limits(&mut bytes));
    let uncertainty = bytes.flag().then(|| known(&mut bytes));
    let any = given(conformity::judge(value, uncertainty, of_one, decision));

    let production = Production { mean: bytes.between(-1.0, 1.0), standard_deviation: bytes.between(0.0, 2.0) };
    let (standard_uncertainty, accepted) = (bytes.between(0.0, 1.0), limits(&mut bytes));
    let many = given(conformity::global_risks(production, standard_uncertainty, of_one, accepted));

    let text = if bytes.below(8) == 7 { bytes.text() } else { bytes.specification_text() };
    let of_all = match specification_from_json(&text) {
        Ok(mut specification) => {
            let again = specification_from_json(&specification_to_json(&specification));
            assert_eq!(again.as_ref(), Ok(&specification));
            (specification.note, specification.load_state) = (None, None); // a remark may well say NaN
            specification.decision = decision;
            let mut tree =
                |least, most| Alignment::from_values(&[bytes.flag().then(|| bytes.between(least, most)); COUNT]);
            let (readings, uncertainty, freedom) = (tree(-5.0, 5.0), tree(0.0, 1.0), tree(1.0, 100.0));
            given(conformity::judge_all(&readings, Some(&uncertainty), Some(&freedom), &specification))
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            false
        }
    };
    any | many | of_all
}

/// Hints from readings that were moved and spoiled in a few places.
pub fn diagnosing(bytes: &[u8]) -> bool {
    static SOUND: LazyLock<Alignment> = LazyLock::new(|| VirtualVehicle::default().truth());
    let mut bytes = Bytes::new(bytes);
    let mut values = SOUND.values();
    for _ in 0..bytes.below(12) {
        let value = &mut values[bytes.below(COUNT)];
        *value = match bytes.below(12) {
            0 => None,
            1 => Some(bytes.number()),
            _ => value.map(|value| value + bytes.between(-30.0, 30.0)),
        };
    }
    let covariance = bytes.flag().then(|| {
        let mut covariance = vec![0.0; COUNT * COUNT];
        let variance = bytes.between(0.0, 4.0);
        for i in 0..COUNT {
            covariance[i * COUNT + i] = variance;
        }
        if bytes.below(4) == 0 {
            let place = bytes.below(COUNT * COUNT);
            bytes.spoil_number(&mut covariance[place]);
        }
        covariance
    });
    let mut tolerances = NormalTolerances::default();
    if bytes.below(4) == 0 {
        let one = bytes.number();
        tolerances = match bytes.below(4) {
            0 => NormalTolerances { included_angle_deg: one, ..tolerances },
            1 => NormalTolerances { setback_mm: one, ..tolerances },
            2 => NormalTolerances { thrust_angle_deg: one, ..tolerances },
            _ => NormalTolerances { coverage_factor: one, ..tolerances },
        };
    }
    let text = bytes.specification_text();
    let specification = bytes.flag().then(|| specification_from_json(&text).ok()).flatten();
    let readings = Alignment::from_values(&values);
    let hints = diagnosis::diagnose(&readings, covariance.as_deref(), specification.as_ref(), &tolerances);
    for hint in hints.iter().flatten() {
        assert!(!hint.evidence.is_empty() && !hint.other_causes.is_empty());
        assert!(!hint.to_string().contains("NaN"));
    }
    given(hints)
}

/// Uncertainties through functions of every kind, all but the trials, which take too long here.
pub fn uncertainties(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let [freedom, r, s, probability] =
        [(1.0, 100.0), (-1.0, 1.0), (-1.0, 1.0), (0.0, 1.0)].map(|(least, most)| bytes.between(least, most));
    let mut input = || Input {
        estimate: bytes.between(-1.0, 1.0),
        standard_uncertainty: bytes.between(0.0, 1.0),
        degrees_of_freedom: if bytes.flag() { f64::INFINITY } else { freedom },
    };
    let inputs = [input(), input()];
    let matrix = [[1.0, r], [if bytes.flag() { r } else { s }, 1.0]];
    let correlation = bytes.flag().then_some(&matrix);
    let result = match bytes.below(3) {
        0 => law_of_propagation(&inputs, correlation, |[a, b]| [a * b.exp(), a.sin() + b.atan(), (a - b).cos()]),
        1 => law_of_propagation(&inputs, correlation, |[a, b]| [a.atan2(b), a.hypot(b), a / b]),
        _ => law_of_propagation(&inputs, correlation, |[a, b]| [a.sqrt(), b.asin().tan(), a.ln() - b.powi(-3)]),
    };
    let mut any = false;
    if let Ok(propagation) = &result {
        for output in &propagation.outputs {
            given(output.expanded(probability));
            assert!(output.degrees_of_freedom.is_none_or(|freedom| freedom >= 1.0 - 1e-9), "{output:?}");
        }
        any = true;
    }
    // An uncertainty that is known has infinite degrees of freedom, and rightly so.
    given(
        result.map(|result| {
            result.outputs.into_iter().map(|output| (output.estimate, output.budget)).collect::<Vec<_>>()
        }),
    );
    let [least, most, third] = bytes.numbers();
    for distribution in [
        Distribution::Normal { mean: least, standard_deviation: most },
        Distribution::Trapezoidal { least, most, top: third },
        Distribution::CurvilinearTrapezoid { least, most, limits_within: third },
        Distribution::Arcsine { least, most },
        Distribution::Exponential { mean: least },
    ] {
        given(distribution.input().map(|input| [input.estimate, input.standard_uncertainty]));
    }
    given(numerical_tolerance(least.abs(), 2));
    given(coverage_factor(probability, most));
    any
}

/// A tracker and what is done with the car: poses of the session and others, in any order.
pub fn followed(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let (mut session, clamps) = bytes.session();
    session.lock_left = None;
    session.lock_right = None;
    let mut settings = LiveSettings {
        smoothing_s: bytes.one_of([0.0, 0.1, 2.0]),
        steering: bytes.one_of([Steering::Free, Steering::Held]),
        ..LiveSettings::default()
    };
    if bytes.below(16) == 0 {
        settings.knocked_deg = bytes.number();
        settings.held_after_s = bytes.number();
    }
    let mut tracker = match Tracker::new(&session, settings) {
        Ok(tracker) => tracker,
        refused => return given(refused.map(|_| ())),
    };
    let stations: Vec<_> = session.sweep.iter().chain([&session.ahead]).chain(&session.rolling).cloned().collect();
    let (mut time_s, mut any) = (0.0, false);
    for _ in 0..4 + bytes.below(24) {
        let wheels = ByWheel::from_fn(|_| bytes.flag());
        match bytes.below(16) {
            0 => tracker.adjust(wheels),
            1 => tracker.steer(bytes.one_of([Steering::Free, Steering::Held])),
            2 => tracker.lift(wheels),
            3 => tracker.lifted(),
            4 => tracker.lowered(),
            5 => {
                let mut clamp = *clamps.get(bytes.wheel());
                if bytes.flag() {
                    bytes.spoil_number(&mut clamp.centre_in_target_mm[0]);
                }
                any |= given(tracker.compensate(bytes.wheel(), &clamp));
            }
            _ => {}
        }
        time_s = if bytes.below(24) == 0 { bytes.number() } else { time_s + bytes.between(0.0, 0.3) };
        let station = &stations[bytes.below(stations.len())];
        let mut poses =
            ByWheel::from_fn(|wheel| station.get(wheel).frames().first().copied().filter(|_| bytes.below(6) > 0));
        if bytes.below(4) == 0 {
            let wheel = bytes.wheel();
            *poses.get_mut(wheel) = Some(bytes.pose());
        }
        let last_s = tracker.readings().time_s;
        let read = tracker.frame(time_s, &poses).map(|now| (now.alignment, now.steer_deg, now.rig_from_vehicle));
        if read.is_err() {
            time_s = last_s.max(0.0);
        }
        any |= given(read);
    }
    any
}

/// What a session is worth, and a plan. The procedures whose stages are differenced cost a hundred measurements, and are taken seldom.
pub fn worth(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    if bytes.below(8) == 0 {
        let plan = bytes.plan();
        let (expanded_deg, factor) = (bytes.one_of([0.02, 0.0, 1e-9, 5.0]), bytes.one_of([2.0, 1.96, 0.0, -1.0]));
        let seldom = bytes.below(16) == 0;
        return given(uncertainty::plan(&plan)) | (seldom && given(uncertainty::reach(&plan, expanded_deg, factor)));
    }
    let (mut session, _) = bytes.session();
    bytes.scatter(&mut session);
    let customary = session.sweep_body == SweepBody::Still
        && session.rolling_body == RollingBody::Translates
        && session.reference.datum != Datum::WheelPlane;
    let customary = customary || session.method == Method::Joint;
    if bytes.below(if customary { 4 } else { 100 }) > 0 {
        return false;
    }
    let result = assess(&session, None);
    if let Ok(known) = &result {
        for freedom in known.degrees_of_freedom.iter().flat_map(Alignment::values).flatten() {
            assert!(freedom >= 1.0, "{freedom}");
        }
        for standard in known.uncertainty.iter().flat_map(Alignment::values).flatten() {
            assert!(standard >= 0.0, "{standard}");
        }
    }
    // Of what is known the degrees of freedom are endless.
    given(result.map(|known| Assessment { degrees_of_freedom: None, ..known }))
}

/// The whole session.
pub fn session(bytes: &[u8]) -> bool {
    let (session, _) = Bytes::new(bytes).session();
    let result = measure(&session);
    if let Ok(measurement) = &result {
        for warning in &measurement.warnings {
            assert!(!warning.to_string().is_empty());
        }
        assert!(!measurement_to_json(measurement).is_empty());
    }
    given(sweep::follow(&session));
    given(result)
}

/// The formulas of adjusters, and moves sought for the virtual car with a few of them, spoiled here and there.
pub fn adjusting(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let [a, b, c, d, e, f] = bytes.numbers();
    let (pitch, arm) = (bytes.between(0.1, 12.0), bytes.between(5.0, 400.0));
    let axis = |caster_deg, sai_deg| AxisAngles { caster_deg, sai_deg };
    let mut any = given(adjustment::tie_rod_steer_deg(a, pitch, arm)) | given(adjustment::tie_rod_turns(b, pitch, arm));
    any |= given(adjustment::toe_changes_deg(a, b, c, d, e));
    any |= given(adjustment::eccentric_shift_mm(a, b)) | given(adjustment::eccentric_angles_deg(a, b));
    any |= given(adjustment::slot_tilt_deg(a, arm, b)) | given(adjustment::slot_shift_mm(a, arm, b));
    any |= given(adjustment::shim_thicknesses_mm(a, b, c, d));
    any |= given(adjustment::subframe_shift(axis(a, b), axis(c, d), e, arm, f));
    any |= given(adjustment::tapered_shim(a, b, c));
    any |= given(adjustment::tapered_shim_changes(a, TaperedShim { taper_deg: b, bearing_deg: c }));
    any |= given(adjustment::tapered_shim_on_shelf(a, b, c, d, e, f));

    let mut readings = VirtualVehicle::default().truth();
    if bytes.flag() {
        readings.steering.left.axis_direction = None;
    }
    let mut list: Vec<Adjuster> = Vec::new();
    for _ in 0..bytes.below(5) {
        let effect = if bytes.flag() {
            let line =
                if bytes.flag() { Some(Line { point_mm: bytes.numbers(), direction: bytes.unit() }) } else { None };
            let wheels = ByWheel::from_fn(|_| bytes.flag());
            let (turn_deg, shift_mm) = (bytes.between(-2.0, 2.0), bytes.between(-2.0, 2.0));
            Effect::Rigid(Rigid { wheels, line, turn_deg, shift_mm, carries_axis: bytes.flag() })
        } else {
            let path = bytes.one_of(["wheels.fl.camber_deg", "wheels.rr.toe_deg", "axles.front.total_toe_deg", "none"]);
            Effect::Measured([(path.to_owned(), bytes.between(-1.0, 1.0))].into())
        };
        let (least, most) = (bytes.between(-9.0, 1.0), bytes.between(-1.0, 9.0));
        let step = bytes.one_of([0.0, 0.0, 0.5, f64::MIN_POSITIVE]);
        list.push(Adjuster { name: String::new(), unit: String::new(), effect, least, most, step });
    }
    let mut request = Request { nominal_within_deg: bytes.one_of([None, Some(0.0), Some(0.01)]), ..Request::default() };
    for path in ["wheels.fl.camber_deg", "wheels.fl.toe_deg", "axles.front.setback_mm", "steering.left.caster_deg"] {
        let (nominal, plus) = (Some(bytes.between(-3.0, 3.0)), Some(bytes.between(0.0, 2.0)));
        let tolerance = Tolerance { nominal, minus: plus, plus, ..Tolerance::default() };
        request.specification.limits.insert(path, tolerance);
    }
    let stance = Stance { loaded_radius_mm: bytes.radii(), centreline: bytes.centreline() };
    any |= given(adjustment::effects(&readings, &list, &stance));
    let found = adjustment::fewest_moves(&readings, &list, &request, &stance);
    if let Ok(found) = &found {
        let (turned, amounts): (Vec<Adjuster>, Vec<f64>) =
            found.moves.iter().map(|step| (list[step.adjuster].clone(), step.amount)).unzip();
        for (adjuster, &amount) in turned.iter().zip(&amounts) {
            assert!(amount >= adjuster.least && amount <= adjuster.most, "{adjuster:?} {amount}");
        }
        given(VirtualVehicle::default().adjusted(&turned, &amounts));
    }
    given(found) | any
}

/// Texts of records, spoiled or with hostile fields, and the pages made of them.
pub fn recorded(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    if bytes.flag() {
        let text = bytes.record_text();
        let sealed = if bytes.below(4) > 0 { sealed(&text) } else { text };
        let error = match Record::from_json(&sealed) {
            Ok(record) => {
                written(&record);
                return true;
            }
            Err(error) => error,
        };
        assert!(!error.to_string().is_empty() && error.line > 0);
        if let Err(error) = Record::from_details(&sealed) {
            assert!(!error.to_string().is_empty() && error.line > 0);
        }
        return false;
    }
    let record = bytes.record();
    let any = record.before.is_some() || record.after.is_some();
    if any {
        written(&record);
    } else {
        assert!(record.to_json().is_err() && record.to_html().is_err() && record.to_markdown().is_err());
    }
    any
}

/// The text with the digest that belongs to it, if it ends as a record does.
fn sealed(text: &str) -> String {
    const KEY: &str = "\"digest\": \"";
    let Some(at) = text.rfind(KEY).map(|at| at + KEY.len()).filter(|at| text.is_char_boundary(at + 64)) else {
        return text.to_owned();
    };
    let zeroed = format!("{}{}{}", &text[..at], "0".repeat(64), &text[at + 64..]);
    let digest = Attachment::of("", "", zeroed.as_bytes()).sha256;
    format!("{}{digest}{}", &text[..at], &text[at + 64..])
}

/// It reads back, is written to the same bytes, and no text of it gets out of its place on a page.
fn written(record: &Record) {
    let text = record.to_json().expect("something was measured");
    let read = Record::from_json(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert_eq!(read.to_json().as_deref(), Ok(text.as_str()));
    let (html, markdown) = (record.to_html().unwrap(), record.to_markdown().unwrap());
    for page in [&html, &markdown] {
        let stray = page.chars().find(|&c| {
            c.is_control() && c != '\n' || matches!(c, '\u{202a}'..='\u{202e}' | '\u{200e}' | '\u{200f}' | '\u{feff}')
        });
        assert_eq!(stray, None, "{page}");
    }
    // Each mark of markup is the template's own: text has none of them.
    assert_eq!(html.matches('<').count(), html.matches('>').count());
    for forbidden in ["<script", "<img", "<a ", "<iframe"] {
        assert!(!html.contains(forbidden), "{forbidden} is in\n{html}");
    }
    for line in markdown.lines().filter(|line| line.starts_with("| ")) {
        assert!(line.ends_with('|'), "{line}");
    }
}

/// A stand before a sound car, spoiled here and there: its pose, its noise, the floor, what is required, and the moves.
pub fn placing(bytes: &[u8]) -> bool {
    let mut bytes = Bytes::new(bytes);
    let text = if bytes.below(8) == 7 { bytes.text() } else { bytes.stand_text() };
    let mut requirements = match stand_requirements_from_json(&text) {
        Ok(requirements) => {
            let again = stand_requirements_from_json(&stand_requirements_to_json(&requirements));
            assert_eq!(again.as_ref(), Ok(&requirements));
            requirements
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            stand::StandRequirements::default()
        }
    };
    requirements.note = None; // a remark may well say NaN
    if bytes.below(6) == 5 {
        requirements.reference = ReferencePoint::Point(bytes.numbers());
    }
    if bytes.below(6) == 5 {
        let [nominal, minus, plus] = bytes.numbers();
        requirements.required.yaw_deg = Some(Required { nominal, minus, plus });
    }
    let (mut session, _) = bytes.session();
    session.sweep.clear();
    if bytes.flag() {
        session.input_uncertainty = Some(InputUncertainty { runway_mm: 0.5, ..InputUncertainty::default() });
    }
    let noise = bytes.flag().then(|| {
        let [rotation_deg, translation_mm] = bytes.numbers();
        let small = PoseNoise { rotation_deg: bytes.between(0.0, 0.1), translation_mm: bytes.between(0.0, 1.0) };
        if bytes.below(4) == 3 { PoseNoise { rotation_deg, translation_mm } } else { small }.into()
    });
    let (mut seen, mut mark) = (bytes.pose(), bytes.pose());
    if bytes.below(4) == 3 {
        bytes.spoil_pose(&mut seen);
        bytes.spoil_pose(&mut mark);
    }
    let placed = PlacedStand::from_target(&seen, &mark, noise.as_ref());
    given(PlacedStand::from_rig(&mark, noise.as_ref()));
    let pivot_mm = if bytes.below(6) == 5 { bytes.numbers() } else { [-150.0, 0.0, -1200.0] };
    let points = if bytes.below(3) == 2 { bytes.below(5) } else { 0 };
    let ground_mm: Vec<[f64; 3]> = (0..points)
        .map(|_| {
            let level = [bytes.between(-3000.0, 3000.0), bytes.between(-3000.0, 3000.0), bytes.between(-3.0, 3.0)];
            if bytes.below(16) == 15 { bytes.numbers() } else { level }
        })
        .collect();
    let placed = match placed {
        Ok(placed) => placed,
        Err(error) => return given::<()>(Err(error)),
    };
    assert_finite(&placed);
    let placed = PlacedStand { pivot_mm, ..placed };
    let found = stand::assess(&session, &placed, &ground_mm, &requirements);
    if let Ok(found) = &found {
        given(stand::moved(&placed.rig_from_stand, &found.moves, pivot_mm));
        given(found.ground_line.readings(&mark));
        given(GroundLine { rig_from_line: mark, ..found.ground_line }.readings(&seen));
        assert!(!found.moves.to_string().is_empty());
    }
    let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] = bytes.numbers();
    let anywhere = StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg };
    given(stand::moves(&anywhere, &requirements, pivot_mm));
    let moves = StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm: distance_mm, left_mm: height_mm, up_mm: 0.0 };
    given(stand::moved(&seen, &moves, pivot_mm));
    given(found)
}

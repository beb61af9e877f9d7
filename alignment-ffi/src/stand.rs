//! Where a stand stands relative to the car, and the moves that put it right.

use crate::alignment::WaWheels;
use crate::conformity::verdict_number;
use crate::datum::WaPlane;
use crate::error::{Failure, WaError, guard};
use crate::layout::by_axle;
use crate::live::WaLiveReadings;
use crate::memory::{
    ResultBuffer, StatesSize, Target, WaOptional, choice, give, guard_text, in_place, list, numbers, optional, read,
    text, to_json,
};
use crate::pose::WaPose;
use crate::session::{WaPoseCovariance, WaSession};
use crate::vehicle::WaAheadReadings;
use alignment_core::ByAxle;
use alignment_core::conformity::Judgement;
use alignment_core::datum::Plane;
use alignment_core::json::{stand_assessment_to_json, stand_requirements_from_json, stand_requirements_to_json};
use alignment_core::record::StandSetup;
use alignment_core::session::{Noise, PoseCovariance};
use alignment_core::stand::{
    self, Ground, GroundLine, Line, PlacedStand, ReferencePoint, StandAssessment, StandMoves, StandReadings,
    StandRequirements,
};
use alignment_core::vehicle::AheadReadings;
use alignment_core::wheel::WheelReadings;
use std::ffi::c_char;

/// A stand is placed along the line in which the car travels.
pub const WA_LINE_THRUST_LINE: i32 = 0;
/// A stand is placed along the x axis of the vehicle frame.
pub const WA_LINE_CENTRELINE: i32 = 1;

/// The distance counts from the middle between the front wheel centres.
pub const WA_REFERENCE_POINT_FRONT_AXLE: i32 = 0;
/// The distance counts from the middle between the rear wheel centres.
pub const WA_REFERENCE_POINT_REAR_AXLE: i32 = 1;
/// The distance counts from a point of the vehicle frame, point_mm.
pub const WA_REFERENCE_POINT_POINT: i32 = 2;

/// The six numbers that say where a stand stands.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStandReadings {
    /// Distance from the reference point to the stand's origin, along the line; positive ahead, mm.
    pub distance_mm: f64,
    /// How far the stand's origin lies beside the line; positive to the left, mm.
    pub lateral_offset_mm: f64,
    /// Height of the stand's origin, square to the ground, mm.
    pub height_mm: f64,
    /// Yaw of the stand to the line; positive to the left, degrees.
    pub yaw_deg: f64,
    /// Pitch of the stand to the ground; positive with the top forward, degrees.
    pub pitch_deg: f64,
    /// Roll of the stand to the ground; positive with the top to the right, degrees.
    pub roll_deg: f64,
}

/// A stand as it was found.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPlacedStand {
    /// Where the stand is in the rig: the axes of its own frame seen there, in the columns, and its origin. That frame has X
    /// forward, Y left, Z up when the stand stands true, and its origin is the mark from which the maker's distances count.
    pub rig_from_stand: WaPose,
    /// How much that pose scatters, about the axes of the rig, where noise_known is not 0. Alike along all axes it is the
    /// variances on the diagonal.
    pub noise: WaPoseCovariance,
    /// The point about which the stand is turned, in its own frame, mm: where its column stands. Its origin when zero.
    pub pivot_mm: [f64; 3],
    /// Not 0 when the noise is known.
    pub noise_known: i32,
    /// Zero.
    pub reserved: i32,
}

/// The ground on which a stand stands.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaGround {
    /// How far the ground is tilted against the datum, to which the car's own angles refer, degrees.
    pub tilt_deg: f64,
    /// How far the contact centres, or the points of the floor, lie from the plane, mm, root mean square.
    pub residual_mm: f64,
    /// 1 when that is more than 1 mm: then the height and the angles depend on where the stand stands. Else 0.
    pub uneven: i32,
    /// Zero.
    pub reserved: i32,
}

/// The line on the ground from which a stand is placed, as a car shows it.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaGroundLine {
    /// Where the line lies in the rig: X along it, Y to its left, Z up, square to the ground; its origin is the zero of all
    /// distances.
    pub rig_from_line: WaPose,
    /// The ground in which it lies.
    pub ground: WaGround,
}

/// What is done to a stand: in this order, each move along or about the stand's own axes as they then lie.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStandMoves {
    /// First: turn about the stand's z axis through the pivot; positive to the left, degrees.
    pub yaw_deg: f64,
    /// Second: tilt about its y axis through the pivot; positive with the top forward, degrees.
    pub pitch_deg: f64,
    /// Third: lean about its x axis through the pivot; positive with the top to the right, degrees.
    pub roll_deg: f64,
    /// Fourth: shift along its x axis; positive forward, mm.
    pub forward_mm: f64,
    /// Fifth: shift along its y axis; positive to the left, mm.
    pub left_mm: f64,
    /// Sixth: shift along its z axis; positive upward, mm.
    pub up_mm: f64,
}

/// Where a stand stands, what that is worth, whether it is as required, and the moves that put it right.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStandAssessment {
    /// Set by the caller: sizeof(wa_stand_assessment).
    pub size: usize,
    /// Where the stand stands.
    pub readings: WaStandReadings,
    /// The standard uncertainty of each reading, in its own unit. NaN when the noise of the car's poses or of the stand's is
    /// not known.
    pub standard_uncertainty: WaStandReadings,
    /// The effective degrees of freedom of each standard uncertainty. NaN where the noise is known and they are infinite.
    pub degrees_of_freedom: WaStandReadings,
    /// The expanded uncertainty U of each reading: reading ± U holds the true value with a probability of 95 %. NaN as the
    /// standard uncertainty.
    pub expanded_uncertainty: WaStandReadings,
    /// What to do to the stand. Whether anything has to be done at all the verdicts say.
    pub moves: WaStandMoves,
    /// The line on the ground from which it was read.
    pub ground_line: WaGroundLine,
    /// The thrust angle of the car; positive when the thrust line points to the right of the centreline, degrees.
    pub thrust_angle_deg: f64,
    /// The verdict on each reading in the order of wa_stand_readings, WA_VERDICT_..., or WA_NONE where nothing is required.
    pub verdicts: [i32; 6],
    /// On the whole, WA_VERDICT_...
    pub overall: i32,
    /// Zero.
    pub reserved: i32,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaStandAssessment {}

impl From<StandReadings> for WaStandReadings {
    fn from(readings: StandReadings) -> Self {
        let StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg } = readings;
        Self { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg }
    }
}

impl From<StandReadings<Option<f64>>> for WaStandReadings {
    fn from(readings: StandReadings<Option<f64>>) -> Self {
        let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] =
            readings.values().map(|value| value.unwrap_or(f64::NAN));
        Self { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg }
    }
}

impl From<WaStandReadings> for StandReadings {
    fn from(readings: WaStandReadings) -> Self {
        let WaStandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg } = readings;
        Self { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg }
    }
}

impl From<StandMoves> for WaStandMoves {
    fn from(StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm }: StandMoves) -> Self {
        Self { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm }
    }
}

impl From<WaStandMoves> for StandMoves {
    fn from(WaStandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm }: WaStandMoves) -> Self {
        Self { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm }
    }
}

impl From<GroundLine> for WaGroundLine {
    fn from(GroundLine { rig_from_line, ground: Ground { tilt_deg, residual_mm, uneven } }: GroundLine) -> Self {
        let ground = WaGround { tilt_deg, residual_mm, uneven: uneven.into(), reserved: 0 };
        Self { rig_from_line: rig_from_line.into(), ground }
    }
}

impl From<PlacedStand> for WaPlacedStand {
    fn from(PlacedStand { rig_from_stand, noise, pivot_mm }: PlacedStand) -> Self {
        let covariance = match &noise {
            Some(Noise::Covariance(of)) => of.covariance,
            // Of what comes from the core none is told otherwise.
            _ => [[0.0; 6]; 6],
        };
        Self {
            rig_from_stand: rig_from_stand.into(),
            noise: WaPoseCovariance { covariance },
            pivot_mm,
            noise_known: noise.is_some().into(),
            reserved: 0,
        }
    }
}

impl From<&WaPlacedStand> for PlacedStand {
    fn from(of: &WaPlacedStand) -> Self {
        let noise = (of.noise_known != 0).then(|| noise_of(&of.noise));
        Self { rig_from_stand: of.rig_from_stand.into(), noise, pivot_mm: of.pivot_mm }
    }
}

fn noise_of(of: &WaPoseCovariance) -> Noise {
    Noise::Covariance(Box::new(PoseCovariance { covariance: of.covariance }))
}

impl From<StandAssessment> for WaStandAssessment {
    fn from(found: StandAssessment) -> Self {
        let judged = |of: Option<Judgement>| of.map_or(crate::status::WA_NONE, |of| verdict_number(of.verdict));
        let known = |of: Option<StandReadings>| of.map_or(StandReadings::<Option<f64>>::default().into(), Into::into);
        Self {
            size: 0,
            readings: found.readings.into(),
            standard_uncertainty: known(found.standard_uncertainty),
            degrees_of_freedom: found.degrees_of_freedom.into(),
            expanded_uncertainty: known(found.expanded_uncertainty),
            moves: found.moves.into(),
            ground_line: found.ground_line.into(),
            thrust_angle_deg: found.thrust_angle_deg,
            verdicts: found.judgements.values().map(judged),
            overall: verdict_number(found.overall),
            reserved: 0,
        }
    }
}

/// # Safety
/// As [`text`].
unsafe fn requirements(pointer: *const c_char, length: usize) -> Result<StandRequirements, Failure> {
    // SAFETY: the caller's promise is handed on.
    Ok(stand_requirements_from_json(unsafe { text("requirements_json", pointer, length)? })?)
}

/// A stand that was found by a target of its own, which the rig's cameras see: rig_from_target times the inverse of
/// stand_from_target. Its pivot is its origin.
///
/// noise: of the target's pose, about the axes of the rig; NULL when it is not known. An error of its turn moves the stand's
///     origin the more, the further from the target it lies.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
/// WA_NOT_A_COVARIANCE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_placed_stand_from_target(
    rig_from_target: *const WaPose,
    stand_from_target: *const WaPose,
    noise: *const WaPoseCovariance,
    placed_stand: *mut WaPlacedStand,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (seen, mark) =
            (in_place("rig_from_target", rig_from_target)?, in_place("stand_from_target", stand_from_target)?);
        let noise = optional("noise", noise)?.map(noise_of);
        Ok(PlacedStand::from_target(&(*seen).into(), &(*mark).into(), noise.as_ref())?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("placed_stand", placed_stand), job) }
}

/// A stand on which the cameras of the rig ride, as calibrated: the inverse of stand_from_rig. Its pivot is its origin.
///
/// The poses of the car must have been seen from where the stand stands now: whoever moves it moves the frame of the rig with
/// it, points of the floor included.
///
/// noise: of the calibration, about the origin and the axes of the rig; NULL when it is not known. An error of its turn moves
///     the stand's origin the more, the further from the rig's it lies.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
/// WA_NOT_A_COVARIANCE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_placed_stand_from_rig(
    stand_from_rig: *const WaPose,
    noise: *const WaPoseCovariance,
    placed_stand: *mut WaPlacedStand,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let stand_from_rig = in_place("stand_from_rig", stand_from_rig)?;
        let noise = optional("noise", noise)?.map(noise_of);
        Ok(PlacedStand::from_rig(&(*stand_from_rig).into(), noise.as_ref())?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("placed_stand", placed_stand), job) }
}

/// What a line is found from beside the car.
struct Choices {
    loaded_radius_mm: ByAxle<Option<f64>>,
    floor: Option<Plane>,
    line: Line,
    reference: ReferencePoint,
}

impl Choices {
    /// # Safety
    /// The pointers are null, or point to what the functions say.
    unsafe fn of(
        loaded_radius_mm: *const WaOptional,
        floor: *const WaPlane,
        line: i32,
        reference: i32,
        point_mm: *const f64,
    ) -> Result<Self, Failure> {
        // SAFETY: the caller's promises are handed on.
        let (radii, floor, point_mm) = unsafe {
            let radii = optional("loaded_radius_mm", loaded_radius_mm.cast::<[WaOptional; 2]>())?;
            let given = reference == WA_REFERENCE_POINT_POINT;
            (radii, optional("floor", floor)?, if given { numbers("point_mm", point_mm)? } else { [0.0; 3] })
        };
        let references = [ReferencePoint::FrontAxle, ReferencePoint::RearAxle, ReferencePoint::Point(point_mm)];
        Ok(Self {
            loaded_radius_mm: by_axle(radii.map_or([None; 2], |radii| radii.map(WaOptional::get))),
            floor: floor.map(|&WaPlane { normal, point_mm, residual_mm }| Plane { normal, point_mm, residual_mm }),
            line: choice("line", line, [Line::ThrustLine, Line::Centreline])?,
            reference: choice("reference", reference, references)?,
        })
    }

    fn line_of(&self, wheels: &WaWheels, rig_from_vehicle: WaPose) -> Result<WaGroundLine, Failure> {
        let present = |value: f64| (!value.is_nan()).then_some(value);
        let three = |[x, y, z]: [f64; 3]| Some([present(x)?, present(y)?, present(z)?]);
        let WaWheels { fl, fr, rl, rr } = wheels;
        let wheels = crate::layout::by_wheel([fl, fr, rl, rr].map(|of| WheelReadings {
            centre_mm: three(of.centre_mm),
            spindle: three(of.spindle),
            rolling_radius_mm: present(of.rolling_radius_mm),
            ..WheelReadings::default()
        }));
        let (axles, chassis) = Default::default();
        let now = AheadReadings { wheels, axles, chassis, rig_from_vehicle: rig_from_vehicle.into() };
        let floor = self.floor.as_ref();
        Ok(GroundLine::from_ahead(&now, &self.loaded_radius_mm, floor, self.line, self.reference)?.into())
    }
}

/// The line that a car straight ahead shows, on the ground from which a stand is placed. Nothing is allocated.
///
/// now: as wa_ahead_readings filled it in.
/// loaded_radius_mm: of the front and of the rear axle, 2 numbers; NULL or absent for the rolling radius.
/// floor: a plane through points of the floor, in the rig, by wa_plane_through. NULL for the plane through the contact centres.
/// line: WA_LINE_...
/// reference: WA_REFERENCE_POINT_...
/// point_mm: 3 numbers in the vehicle frame, mm, for WA_REFERENCE_POINT_POINT; else it is not read.
///
/// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for a wheel whose centre is NaN; WA_MISSING_INPUT for one without a radius, when no
/// floor is given; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
/// WA_ANGLE_OUT_OF_RANGE for a floor tilted by more than 10 degrees against the datum.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ground_line_from_ahead(
    now: *const WaAheadReadings,
    loaded_radius_mm: *const WaOptional,
    floor: *const WaPlane,
    line: i32,
    reference: i32,
    point_mm: *const f64,
    ground_line: *mut WaGroundLine,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let now = read("now", now)?;
        Choices::of(loaded_radius_mm, floor, line, reference, point_mm)?.line_of(&now.wheels, now.rig_from_vehicle)
    };
    // SAFETY: as before.
    unsafe { give(error, ("ground_line", ground_line), job) }
}

/// The line of a car that is followed. Nothing is allocated.
///
/// now: as wa_tracker_frame filled it in. What its flags say (held, stale, weak) holds of the line too, and is not said again.
/// All else as wa_ground_line_from_ahead says: the loaded radii of the tracker's session have to be handed over here as well.
///
/// Returns what wa_ground_line_from_ahead returns; WA_WHEEL_NOT_SEEN also for a clamp that was knocked.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ground_line_from_live(
    now: *const WaLiveReadings,
    loaded_radius_mm: *const WaOptional,
    floor: *const WaPlane,
    line: i32,
    reference: i32,
    point_mm: *const f64,
    ground_line: *mut WaGroundLine,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let now = read("now", now)?;
        let choices = Choices::of(loaded_radius_mm, floor, line, reference, point_mm)?;
        choices.line_of(&now.alignment.wheels, now.rig_from_vehicle)
    };
    // SAFETY: as before.
    unsafe { give(error, ("ground_line", ground_line), job) }
}

/// Where a stand stands, in degrees and mm. Nothing is allocated.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
/// stand that pitches by more than 89 degrees.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ground_line_readings(
    ground_line: *const WaGroundLine,
    rig_from_stand: *const WaPose,
    stand_readings: *mut WaStandReadings,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (line, stand) = (in_place("ground_line", ground_line)?, in_place("rig_from_stand", rig_from_stand)?);
        // Readings have no use for the ground.
        let ground = Ground { tilt_deg: 0.0, residual_mm: 0.0, uneven: false };
        let line = GroundLine { rig_from_line: line.rig_from_line.into(), ground };
        Ok(line.readings(&(*stand).into())?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("stand_readings", stand_readings), job) }
}

/// The moves that bring a stand from where it stands to what is required. What nothing is required of stays as it is.
///
/// requirements_json: requirements_length bytes, format "alignment-stand/1".
/// pivot_mm: the point about which the stand is turned, 3 numbers in its own frame, mm.
///
/// Returns WA_SUCCESS; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE;
/// WA_OUT_OF_RANGE for a negative tolerance.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_moves(
    readings: *const WaStandReadings,
    requirements_json: *const c_char,
    requirements_length: usize,
    pivot_mm: *const f64,
    stand_moves: *mut WaStandMoves,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (readings, pivot_mm) = (in_place("readings", readings)?, numbers("pivot_mm", pivot_mm)?);
        let requirements = requirements(requirements_json, requirements_length)?;
        Ok(stand::moves(&(*readings).into(), &requirements, pivot_mm)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("stand_moves", stand_moves), job) }
}

/// Where a stand is in the rig after the moves, done exactly, in degrees and mm.
///
/// pivot_mm: the point about which the stand is turned, 3 numbers in its own frame, mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
/// turn beyond ± 180 degrees.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_moved(
    rig_from_stand: *const WaPose,
    moves: *const WaStandMoves,
    pivot_mm: *const f64,
    moved: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (stand, moves) = (in_place("rig_from_stand", rig_from_stand)?, in_place("moves", moves)?);
        Ok(stand::moved(&(*stand).into(), &(*moves).into(), numbers("pivot_mm", pivot_mm)?)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("moved", moved), job) }
}

/// Measures a car and a stand before it: readings, what they are worth, verdicts and moves.
///
/// The vehicle maker's procedure rules. A car that is driven with a sensor that was calibrated wrongly can hurt people; measure
/// again when the stand or the car was moved.
///
/// ground_mm: points of the floor, ground_count of 3 numbers each, mm in the rig, each coordinate as uncertain as the session's
///     input_uncertainty says of runway_mm. None of them, and NULL if you like, makes the plane through the contact centres the
///     ground.
/// requirements_json: requirements_length bytes, format "alignment-stand/1".
/// stand_assessment: struct of the caller whose size is set.
///
/// Returns what wa_measure returns; WA_WHEEL_NOT_SEEN or WA_MISSING_INPUT for a car whose wheels were not all seen straight ahead,
/// or without a radius; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8; WA_NOT_A_COVARIANCE; WA_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE for a
/// stand that pitches by more than 89 degrees or a floor tilted by more than 10; WA_TOO_FEW_STATIONS for one or two points of the
/// floor; WA_TOO_MANY for more than a thousand.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_assess(
    session: *const WaSession,
    stand: *const WaPlacedStand,
    ground_mm: *const f64,
    ground_count: usize,
    requirements_json: *const c_char,
    requirements_length: usize,
    stand_assessment: *mut WaStandAssessment,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let target = Target::new("stand_assessment", stand_assessment)?;
        let session = crate::session::session(session)?;
        let ground = list("ground_mm", ground_mm.cast::<[f64; 3]>(), ground_count)?;
        let requirements = requirements(requirements_json, requirements_length)?;
        let stand = in_place("stand", stand)?.into();
        target.write(stand::assess(&session, &stand, ground, &requirements)?.into());
        Ok(())
    };
    // SAFETY: as before.
    unsafe { guard(error, job) }
}

/// The same of the text of a session; the result has all that is known of it, the judgement on each reading and the warnings
/// beside what wa_stand_assessment has, under the same names.
///
/// session_json: session_length bytes, format "alignment-session/1".
///
/// Returns what wa_stand_assess returns; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION; WA_THIRD_AXLE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_assess_json(
    session_json: *const c_char,
    session_length: usize,
    stand: *const WaPlacedStand,
    ground_mm: *const f64,
    ground_count: usize,
    requirements_json: *const c_char,
    requirements_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let (session, requirements) = ((session_json, session_length), (requirements_json, requirements_length));
    // SAFETY: the caller's promises are handed on.
    let job =
        || unsafe { Ok(stand_assessment_to_json(&assessed(session, stand, ground_mm, ground_count, requirements)?)) };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// What a record keeps of a stand, as "stand" in the details of wa_record_to_json has it: of the session that shows how the stand was left.
///
/// All else as wa_stand_assess_json says.
///
/// Returns what wa_stand_assess_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_setup_of_json(
    session_json: *const c_char,
    session_length: usize,
    stand: *const WaPlacedStand,
    ground_mm: *const f64,
    ground_count: usize,
    requirements_json: *const c_char,
    requirements_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let (session, requirements) = ((session_json, session_length), (requirements_json, requirements_length));
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { to_json(&StandSetup::of(&assessed(session, stand, ground_mm, ground_count, requirements)?)) };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// What [`wa_stand_assess_json`] tells.
///
/// # Safety
/// The pointers are null, or point to what that says.
unsafe fn assessed(
    (session_json, session_length): (*const c_char, usize),
    stand: *const WaPlacedStand,
    ground_mm: *const f64,
    ground_count: usize,
    (requirements_json, requirements_length): (*const c_char, usize),
) -> Result<StandAssessment, Failure> {
    // SAFETY: the caller's promises are handed on.
    unsafe {
        let session = crate::memory::session(session_json, session_length)?;
        let ground = list("ground_mm", ground_mm.cast::<[f64; 3]>(), ground_count)?;
        let requirements = requirements(requirements_json, requirements_length)?;
        let stand = in_place("stand", stand)?.into();
        Ok(stand::assess(&session, &stand, ground, &requirements)?)
    }
}

/// What is required of a stand written out, as it is read.
///
/// requirements_json: requirements_length bytes, format "alignment-stand/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_requirements_to_json(
    requirements_json: *const c_char,
    requirements_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(stand_requirements_to_json(&unsafe { requirements(requirements_json, requirements_length)? }));
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

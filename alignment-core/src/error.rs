//! Errors that teach, and warnings that come with the result.
//!
//! Both say what is wrong, where (stage, station, wheel), the figure seen, the bound, and what to do about it.
//! Both carry a stable number: negative for errors, positive for warnings. A number is never reused.

use crate::layout::Wheel;
use core::fmt;

/// A stage of the job: one group of stations in a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Stage {
    /// The stations at which the car was rolled.
    Rolling,
    /// The station with the wheels straight ahead.
    Ahead,
    /// The stations of the caster sweep.
    Sweep,
    /// Full lock to the left.
    LockLeft,
    /// Full lock to the right.
    LockRight,
}

impl Stage {
    /// The session key of the stage.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rolling => "rolling",
            Self::Ahead => "ahead",
            Self::Sweep => "sweep",
            Self::LockLeft => "lock_left",
            Self::LockRight => "lock_right",
        }
    }

    /// Its place in the order in which the stages are taken.
    pub(crate) const fn order(self) -> u8 {
        self as u8
    }
}

/// What went wrong, as a stable number and name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
#[repr(i32)]
pub enum ErrorCode {
    /// A number is NaN or infinite.
    NotFinite = -1,
    /// A rotation matrix is not orthonormal within the tolerance.
    NotARotation = -2,
    /// A rotation matrix has a negative determinant: it mirrors.
    Reflection = -3,
    /// A direction or a quaternion does not have length 1.
    NotUnitLength = -4,
    /// A length lies outside what a car and a rig can have.
    LengthOutOfRange = -5,
    /// An angle lies outside its range.
    AngleOutOfRange = -6,
    /// An input that this computation needs is missing.
    MissingInput = -7,
    /// A wheel's target was not seen where it is needed.
    WheelNotSeen = -8,
    /// There are fewer stations than the computation needs.
    TooFewStations = -9,
    /// The car was rolled too little to find a spindle.
    RollTooSmall = -10,
    /// The stations lie a full turn of the wheel apart, which tells nothing about its spindle.
    RollFullTurn = -11,
    /// The steering was swept too little to find the steering axis.
    SweepTooSmall = -12,
    /// The up direction points down: the wheels roll the wrong way for it.
    UpInverted = -13,
    /// The left targets are on the right of the car, and the right ones on the left.
    SidesSwapped = -14,
    /// The front targets are on the rear wheels, and the rear ones on the front wheels.
    EndsSwapped = -15,
    /// Sides, ends or up are mirrored, and nothing in the session decides which.
    Mirrored = -16,
    /// A spindle does not run across the car: the wheels cannot belong to one vehicle.
    SpindleNotLateral = -17,
    /// The text is not a session: malformed JSON, an unknown key, a wrong type.
    NotASession = -18,
    /// The text is not a metric tyre size code.
    NotATyreSize = -19,
    /// The frames of one station move by more than they scatter: the target did not stand still.
    NotStill = -20,
    /// The wheels cannot belong to one car, or not to the same car at every station.
    DifferentVehicles = -21,
    /// The rear wheels steer with the front ones: this library measures cars that steer with the front wheels alone.
    RearWheelSteer = -22,
    /// A station has wheels beyond fl, fr, rl and rr: a third axle, which this library does not measure.
    ThirdAxle = -23,
    /// A stage has more stations, or a station more frames, than any session needs.
    TooMany = -24,
    /// Two inputs contradict each other.
    Contradiction = -25,
    /// A number lies outside its range.
    OutOfRange = -26,
    /// A text is not a specification.
    NotASpecification = -27,
    /// No reading has this path.
    UnknownReading = -28,
    /// A matrix is no covariance: it is not symmetric, or it would give a combination of its quantities a negative variance.
    NotACovariance = -29,
    /// A Monte Carlo run did not settle within the trials allowed.
    NotSettled = -30,
    /// The stations do not determine an unknown of the joint fit: nothing, or next to nothing, tells it from the others.
    NotDetermined = -31,
    /// The joint fit did not converge: no rigid car is near the poses.
    NotConverged = -32,
    /// A text is no record of the work, or one of a newer version.
    NotARecord = -33,
    /// A record is not as it was written: its digest does not fit its bytes.
    RecordDamaged = -34,
}

impl ErrorCode {
    /// Every code, in the order of the numbers.
    pub const ALL: &'static [Self] = &[
        Self::NotFinite,
        Self::NotARotation,
        Self::Reflection,
        Self::NotUnitLength,
        Self::LengthOutOfRange,
        Self::AngleOutOfRange,
        Self::MissingInput,
        Self::WheelNotSeen,
        Self::TooFewStations,
        Self::RollTooSmall,
        Self::RollFullTurn,
        Self::SweepTooSmall,
        Self::UpInverted,
        Self::SidesSwapped,
        Self::EndsSwapped,
        Self::Mirrored,
        Self::SpindleNotLateral,
        Self::NotASession,
        Self::NotATyreSize,
        Self::NotStill,
        Self::DifferentVehicles,
        Self::RearWheelSteer,
        Self::ThirdAxle,
        Self::TooMany,
        Self::Contradiction,
        Self::OutOfRange,
        Self::NotASpecification,
        Self::UnknownReading,
        Self::NotACovariance,
        Self::NotSettled,
        Self::NotDetermined,
        Self::NotConverged,
        Self::NotARecord,
        Self::RecordDamaged,
    ];

    /// The stable number: negative, never reused, the same in every language.
    #[must_use]
    pub const fn number(self) -> i32 {
        self as i32
    }

    /// The stable name, in snake case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.text().0
    }

    /// What is wrong, as the sentence has it.
    #[cfg(feature = "json")]
    pub(crate) const fn what(self) -> &'static str {
        self.text().1
    }

    /// Name, what is wrong, the unit of the figure, and the remedy.
    #[expect(clippy::too_many_lines, reason = "a table: one row per code")]
    const fn text(self) -> (&'static str, &'static str, &'static str, &'static str) {
        match self {
            Self::NotFinite => (
                "not_finite",
                "a number is not finite",
                "",
                "check where the number comes from; what was not seen is left out",
            ),
            Self::NotARotation => (
                "not_a_rotation",
                "the rotation matrix is not orthonormal: RᵀR differs from the identity",
                "",
                "hand over a pure rotation, free of scale and shear, with enough digits",
            ),
            Self::Reflection => (
                "reflection",
                "the rotation matrix mirrors: its determinant is negative",
                "",
                "convert left-handed axes to right-handed ones",
            ),
            Self::NotUnitLength => {
                ("not_unit_length", "the vector does not have length 1", "", "divide it by its length")
            }
            Self::LengthOutOfRange => {
                ("length_out_of_range", "the length is out of range", "mm", "check the unit, mm, and the geometry")
            }
            Self::AngleOutOfRange => {
                ("angle_out_of_range", "the angle is out of range", "deg", "check the unit, degrees")
            }
            Self::MissingInput => ("missing_input", "this input is missing", "", "give it"),
            Self::WheelNotSeen => (
                "wheel_not_seen",
                "the target was not seen",
                "",
                "clear the camera's view of it and take the station again",
            ),
            Self::TooFewStations => {
                ("too_few_stations", "too few stations with this target in view", "", "take more stations")
            }
            Self::RollTooSmall => (
                "roll_too_small",
                "the wheel was rolled too little",
                "deg",
                "roll the car further between the stations",
            ),
            Self::RollFullTurn => (
                "roll_full_turn",
                "the stations lie whole turns of the wheel apart; within a turn they span too little",
                "deg",
                "roll by part of a turn, 20° to 180°",
            ),
            Self::SweepTooSmall => (
                "sweep_too_small",
                "the steering was swept too little, from one end to the other",
                "deg",
                "steer further to both sides",
            ),
            Self::UpInverted => (
                "up_inverted",
                "the wheels roll backward when the car moves forward, so up points down",
                "",
                "reverse the sign of `up`, or check the points of the datum",
            ),
            Self::SidesSwapped => (
                "sides_swapped",
                "the left targets are on the right of the car",
                "",
                "exchange fl with fr and rl with rr, or those of the one axle that is named",
            ),
            Self::EndsSwapped => (
                "ends_swapped",
                "the rear wheels steer and the front ones do not",
                "",
                "exchange fl with rl and fr with rr",
            ),
            Self::Mirrored => (
                "mirrored",
                "the four wheels are laid out as in a mirror: sides swapped (fl with fr, rl with rr) or ends \
                 swapped (fl with rl, fr with rr), or up inverted",
                "",
                "check these three; a caster sweep would decide which end steers",
            ),
            Self::SpindleNotLateral => (
                "spindle_not_lateral",
                "the spindle does not run across the car, it lies at this angle to its axle",
                "deg",
                "check that all four targets are on one car and each pose belongs to its wheel",
            ),
            Self::NotASession => {
                ("not_a_session", "the text is not a session", "", "compare it with the published schema")
            }
            Self::NotATyreSize => {
                ("not_a_tyre_size", "the text is not a tyre size", "", "write it as on the tyre, such as 205/55R16")
            }
            Self::NotStill => (
                "not_still",
                "the frames of this station scatter beyond their noise: the target moved",
                "deg",
                "let the car come to rest and take the station again, or state the noise that the rig has",
            ),
            Self::DifferentVehicles => (
                "different_vehicles",
                "these wheels cannot belong to one car, their distance differs from one place to another by this much",
                "mm",
                "check that every station shows the same car and each pose belongs to its wheel",
            ),
            Self::RearWheelSteer => (
                "rear_wheel_steer",
                "the rear wheels steer with the front ones, which this library does not measure",
                "deg",
                "hold the rear wheels straight by the vehicle maker's procedure and take the sweep again",
            ),
            Self::ThirdAxle => (
                "third_axle",
                "a third axle, which this library does not measure",
                "",
                "measure two axles at a time, as fl fr rl rr",
            ),
            Self::TooMany => ("too_many", "more than any session needs", "", "hand over fewer stations or frames"),
            Self::Contradiction => (
                "contradiction",
                "this wheel is named at two cameras, or twice at one",
                "",
                "name each wheel at one camera only",
            ),
            Self::OutOfRange => ("out_of_range", "number out of range", "", "check the number"),
            Self::NotASpecification => {
                ("not_a_specification", "not a specification", "", "see the specification's schema")
            }
            Self::UnknownReading => (
                "unknown_reading",
                "no reading has this path",
                "",
                "name it as the result does, as in wheels.fl.camber_deg",
            ),
            Self::NotACovariance => (
                "not_a_covariance",
                "not a covariance: not symmetric, or with a negative variance",
                "",
                "check its order and units",
            ),
            Self::NotSettled => {
                ("not_settled", "the Monte Carlo run did not settle", "", "allow more trials, or ask for fewer digits")
            }
            Self::NotDetermined => (
                "not_determined",
                "the stations do not tell this from all else that the joint fit seeks",
                "",
                "take more stations, let fewer things be free, or measure stage by stage",
            ),
            Self::NotConverged => (
                "not_converged",
                "the joint fit did not converge, for no rigid car is near the poses; where an angle is given, the wheel was turned about its spindle by that angle between two stages",
                "",
                "do not raise or turn a wheel between the stages, or measure stage by stage and look at its residuals",
            ),
            Self::NotARecord => {
                ("not_a_record", "the text is not a record", "", "compare it with the published schema")
            }
            Self::RecordDamaged => (
                "record_damaged",
                "the record was changed or damaged since it was written",
                "",
                "ask whoever wrote it for the text as it was",
            ),
        }
    }
}

/// Why a computation was refused: what, where, the figure, the bound and the remedy.
///
/// `Display` makes one sentence of it:
/// `rolling.fl: the wheel was rolled too little: 3.1°, at least 10° needed; roll the car further between the stations`.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Error {
    /// What went wrong.
    pub code: ErrorCode,
    /// In which group of stations.
    pub stage: Option<Stage>,
    /// At which station of the group, counted from 0 as in the session.
    pub station: Option<usize>,
    /// At which wheel.
    pub wheel: Option<Wheel>,
    /// Which input, by its session key, when the fault is not in a pose.
    pub input: Option<&'static str>,
    /// The unit of the figures: `deg`, `mm` or nothing.
    pub unit: &'static str,
    /// The figure seen, in `unit`.
    pub value: Option<f64>,
    /// The least that is allowed, in `unit`.
    pub minimum: Option<f64>,
    /// The most that is allowed, in `unit`.
    pub maximum: Option<f64>,
}

impl Error {
    pub(crate) const fn new(code: ErrorCode) -> Self {
        let unit = code.text().2;
        Self {
            code,
            stage: None,
            station: None,
            wheel: None,
            input: None,
            unit,
            value: None,
            minimum: None,
            maximum: None,
        }
    }

    pub(crate) const fn in_mm(self) -> Self {
        Self { unit: "mm", ..self }
    }

    /// The figure seen; one that overflowed would tell nothing and is left out.
    pub(crate) const fn value(self, value: f64) -> Self {
        Self { value: if value.is_finite() { Some(value) } else { None }, ..self }
    }

    pub(crate) const fn at_least(self, minimum: f64) -> Self {
        Self { minimum: Some(minimum), ..self }
    }

    pub(crate) const fn at_most(self, maximum: f64) -> Self {
        Self { maximum: Some(maximum), ..self }
    }

    pub(crate) const fn input(self, input: &'static str) -> Self {
        Self { input: Some(input), ..self }
    }

    pub(crate) const fn wheel(self, wheel: Wheel) -> Self {
        Self { wheel: Some(wheel), ..self }
    }

    pub(crate) const fn stage(self, stage: Stage) -> Self {
        Self { stage: Some(stage), ..self }
    }

    pub(crate) const fn station(self, station: usize) -> Self {
        Self { station: Some(station), ..self }
    }

    /// The place in the session, as its path: `rolling[2].fl`, `clamp_standoff_mm.rr`, `up`.
    fn place(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        place(f, self.stage, self.station, self.input, self.wheel)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (_, what, _, remedy) = self.code.text();
        let unit = match self.unit {
            "deg" => "°",
            "mm" => " mm",
            other => other,
        };
        self.place(f)?;
        f.write_str(what)?;
        if let Some(value) = self.value {
            write!(f, ": {}{unit}", Figure(value))?;
        }
        match (self.minimum, self.maximum) {
            (Some(min), Some(max)) => write!(f, ", {} to {}{unit} allowed", Figure(min), Figure(max))?,
            (Some(min), None) => write!(f, ", at least {}{unit} needed", Figure(min))?,
            (None, Some(max)) => write!(f, ", at most {}{unit} allowed", Figure(max))?,
            (None, None) => {}
        }
        write!(f, "; {remedy}")
    }
}

impl core::error::Error for Error {}

/// What is weak in a result, as a stable number and name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
#[repr(i32)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum WarningCode {
    /// The car was rolled less than the customary 20°: camber and toe scatter more.
    RollShort = 1,
    /// The wheel rolls over a radius that was assumed, since two stations cannot give it.
    RollingRadiusAssumed = 2,
    /// The loaded radius was not given: the rolling radius stands in for it.
    LoadedRadiusAssumed = 3,
    /// The steering was swept less than ± 10°: caster and SAI scatter more.
    SweepShort = 4,
    /// The wheel was free to roll in the sweep: SAI scatters about ten times more than with the wheel locked.
    SweepWheelFree = 5,
    /// The poses of the stage do not fit a rigid motion within their noise.
    ResidualHigh = 6,
    /// The body moved while the front wheels were steered: axes and angles are referred to a body that did not stand still.
    BodyMoved = 7,
    /// The sweep did not reach the angle at which toe-out on turns is read: that turn is absent.
    TurnNotReached = 8,
    /// A wheel was not seen at enough stations of a stage: the readings that need it are absent.
    WheelBlocked = 9,
    /// A target slipped on its clamp at one station: it fits the other stations of its stage but for this one. In the rolling, the first station alone cannot be told from all that follow.
    TargetSlippedOnce = 10,
    /// A target slipped on its clamp and stayed so: from this station on it fits the earlier ones of its stage no more.
    TargetSlippedFrom = 11,
    /// A wheel that was to be locked in the sweep rolled about its spindle, or its steering axis moves, which looks alike: SAI leans on it.
    WheelRolled = 12,
    /// The body was not watched at all stations at which the front wheels were steered: it is assumed to have stood still there, or the station is left out.
    BodyNotWatched = 13,
    /// The points that make the datum do not lie in one plane.
    DatumUneven = 14,
    /// The body was found again from rear wheels that were free to roll, which do not show how it pitches: caster leans on that.
    BodyPitchUnseen = 15,
    /// A wheel stands otherwise at the ahead station than while the car was rolled or steered: its target slipped, it was steered, the car moved, or its suspension settled.
    AheadDisagrees = 16,
    /// The rear targets do not show one motion of the body: one of them slipped or rolled.
    RearDisagree = 17,
    /// No radius of the wheel is known: what lies at the ground is absent.
    RadiusUnknown = 18,
    /// Toe-out on turns is interpolated between stations that lie far apart.
    TurnSparse = 19,
    /// The poses do not fit one rigid car within their noise: the car moved between stages, a steering axis moves, or the noise is understated.
    FitPoor = 20,
    /// A pose does not belong to the car that all others show, and was left out.
    PoseLeftOut = 21,
    /// So many poses of a wheel were left out that the rest hardly check each other: they may be the wrong ones.
    HardlyChecked = 22,
}

impl WarningCode {
    /// Every code, in the order of the numbers.
    pub const ALL: &'static [Self] = &[
        Self::RollShort,
        Self::RollingRadiusAssumed,
        Self::LoadedRadiusAssumed,
        Self::SweepShort,
        Self::SweepWheelFree,
        Self::ResidualHigh,
        Self::BodyMoved,
        Self::TurnNotReached,
        Self::WheelBlocked,
        Self::TargetSlippedOnce,
        Self::TargetSlippedFrom,
        Self::WheelRolled,
        Self::BodyNotWatched,
        Self::DatumUneven,
        Self::BodyPitchUnseen,
        Self::AheadDisagrees,
        Self::RearDisagree,
        Self::RadiusUnknown,
        Self::TurnSparse,
        Self::FitPoor,
        Self::PoseLeftOut,
        Self::HardlyChecked,
    ];

    /// The stable number: positive, never reused, the same in every language.
    #[must_use]
    pub const fn number(self) -> i32 {
        self as i32
    }

    /// The code as one bit of a set, `1 << (number − 1)`.
    ///
    /// ```
    /// # use alignment_core::error::WarningCode;
    /// assert_eq!(WarningCode::RollShort.bit(), 1);
    /// ```
    #[must_use]
    pub const fn bit(self) -> u32 {
        1 << (self.number() - 1)
    }

    /// The stable name, in snake case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.text().0
    }

    /// Name and what is weak, with the remedy.
    const fn text(self) -> (&'static str, &'static str) {
        match self {
            Self::RollShort => ("roll_short", "short roll, camber and toe scatter more: roll the car further"),
            Self::RollingRadiusAssumed => (
                "rolling_radius_assumed",
                "two rolling stations cannot give the rolling radius, loaded_radius_mm stands in: take a third station",
            ),
            Self::LoadedRadiusAssumed => (
                "loaded_radius_assumed",
                "loaded_radius_mm was not given, the rolling radius stands in: trail, scrub and track at the ground lean on it",
            ),
            Self::SweepShort => {
                ("sweep_short", "short sweep, caster and SAI scatter more: steer further to both sides")
            }
            Self::SweepWheelFree => (
                "sweep_wheel_free",
                "wheel free to roll in the sweep, SAI scatters about ten times more: lock the wheels with the brake",
            ),
            Self::ResidualHigh => (
                "residual_high",
                "the poses do not fit a rigid motion within their noise: check the clamp, and in a sweep whether the wheels were locked as stated, and take the stage again",
            ),
            Self::BodyMoved => (
                "body_moved",
                "the rear wheels moved while the front ones were steered: the body did not stand still, let it be found again from them",
            ),
            Self::TurnNotReached => (
                "turn_not_reached",
                "the sweep did not reach the angle for toe-out on turns, which is therefore absent: steer further",
            ),
            Self::WheelBlocked => (
                "wheel_blocked",
                "not seen often enough, so the readings that need it are absent: clear the camera's view and take the stage again",
            ),
            Self::TargetSlippedOnce => (
                "target_slipped_once",
                "the target slipped on its clamp at this station: fasten the clamp and take the stage again",
            ),
            Self::TargetSlippedFrom => (
                "target_slipped_from",
                "the target slipped on its clamp, from this station on: fasten the clamp and start again with the rolling",
            ),
            Self::WheelRolled => (
                "wheel_rolled",
                "the wheel was to be locked but rolled about its spindle, or its steering axis moves, and SAI leans on it: apply the brake, sweep again, and look at the axes between the stations",
            ),
            Self::BodyNotWatched => (
                "body_not_watched",
                "no rear target was seen where the wheels were steered: the body is assumed to have stood still there, or the station is left out if it was to be found again",
            ),
            Self::DatumUneven => (
                "datum_uneven",
                "the points of the datum do not lie in one plane: level the stands, or check the points and radii",
            ),
            Self::BodyPitchUnseen => (
                "body_pitch_unseen",
                "rear wheels free to roll do not show how the body pitches, caster leans on that: lock the wheels with the brake",
            ),
            Self::AheadDisagrees => (
                "ahead_disagrees",
                "stands otherwise straight ahead than while the car was rolled or steered: check the clamp, whether the wheel was steered, the car moved or its suspension settled, and start again",
            ),
            Self::RearDisagree => (
                "rear_disagree",
                "the rear targets do not show one motion of the body, one slipped or rolled: lock the rear wheels, check the clamps and sweep again",
            ),
            Self::RadiusUnknown => (
                "radius_unknown",
                "spun wheels show no radius and loaded_radius_mm was not given, so trail, scrub and track at the ground are absent: give it",
            ),
            Self::TurnSparse => (
                "turn_sparse",
                "toe-out on turns is interpolated between stations that lie far apart: take more stations on the way",
            ),
            Self::FitPoor => (
                "fit_poor",
                "the poses do not fit one rigid car within their noise: the car moved or was steered between its stages, a steering axis moves, or the noise is understated; compare with the staged method",
            ),
            Self::PoseLeftOut => (
                "pose_left_out",
                "does not belong to the car that all other poses show, and was left out: check the camera and the clamp",
            ),
            Self::HardlyChecked => (
                "hardly_checked",
                "so many poses were left out that the rest hardly check each other and may be the wrong ones: take the stage again",
            ),
        }
    }
}

/// What is weak in a result that was given all the same, with the figures.
///
/// `Display` makes one sentence of it, as for [`Error`].
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(into = "crate::json::WarningJson"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schema", schemars(with = "crate::json::WarningJson"))]
pub struct Warning {
    /// What is weak.
    pub code: WarningCode,
    /// In which group of stations.
    pub stage: Option<Stage>,
    /// At which station of the group, counted from 0 as in the session.
    pub station: Option<usize>,
    /// At which wheel.
    pub wheel: Option<Wheel>,
    /// The figure seen, in `unit`.
    pub value: Option<f64>,
    /// The bound that it passed, in `unit`.
    pub limit: Option<f64>,
    /// The unit of both: `deg`, `mm` or nothing.
    pub unit: &'static str,
}

impl Warning {
    pub(crate) const fn new(code: WarningCode) -> Self {
        Self { code, stage: None, station: None, wheel: None, value: None, limit: None, unit: "" }
    }

    pub(crate) const fn stage(self, stage: Stage) -> Self {
        Self { stage: Some(stage), ..self }
    }

    pub(crate) const fn station(self, station: usize) -> Self {
        Self { station: Some(station), ..self }
    }

    pub(crate) const fn wheel(self, wheel: Wheel) -> Self {
        Self { wheel: Some(wheel), ..self }
    }

    pub(crate) const fn figure(self, value: f64, limit: f64, unit: &'static str) -> Self {
        Self { value: Some(value), limit: Some(limit), unit, ..self }
    }

    pub(crate) const fn value(self, value: f64, unit: &'static str) -> Self {
        Self { value: Some(value), unit, ..self }
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        place(f, self.stage, self.station, None, self.wheel)?;
        f.write_str(self.code.text().1)?;
        if let Some(value) = self.value {
            let space = if self.unit.is_empty() { "" } else { " " };
            write!(f, " ({}{space}{}", Figure(value), self.unit)?;
            if let Some(limit) = self.limit {
                write!(f, ", bound {}{space}{}", Figure(limit), self.unit)?;
            }
            f.write_str(")")?;
        }
        Ok(())
    }
}

/// Writes the place as a path of the session, followed by a colon; nothing when no place is known.
fn place(
    f: &mut fmt::Formatter<'_>,
    stage: Option<Stage>,
    station: Option<usize>,
    input: Option<&'static str>,
    wheel: Option<Wheel>,
) -> fmt::Result {
    let mut dot = "";
    if let Some(stage) = stage {
        f.write_str(stage.name())?;
        if let Some(station) = station {
            write!(f, "[{station}]")?;
        }
        dot = ".";
    }
    if let Some(input) = input {
        write!(f, "{dot}{input}")?;
        // Without a stage it is a place in a list of inputs.
        if let (None, Some(index)) = (stage, station) {
            write!(f, "[{index}]")?;
        }
        dot = ".";
    }
    if let Some(wheel) = wheel {
        write!(f, "{dot}{wheel}")?;
        dot = ".";
    }
    if dot.is_empty() { Ok(()) } else { f.write_str(": ") }
}

/// A figure for a sentence: six decimals at most, three from 10 on, tiny and huge ones with an exponent.
struct Figure(f64);

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(value) = *self;
        if value != 0.0 && !(1e-3..1e7).contains(&value.abs()) {
            return write!(f, "{value:.1e}");
        }
        let per_unit = if value.abs() < 10.0 { 1e6 } else { 1e3 };
        write!(f, "{}", libm::round(value * per_unit) / per_unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn an_error_is_one_sentence_with_place_figure_bound_and_remedy() {
        let error =
            Error::new(ErrorCode::RollTooSmall).stage(Stage::Rolling).wheel(Wheel::Fl).value(3.1).at_least(10.0);
        assert_eq!(
            error.to_string(),
            "rolling.fl: the wheel was rolled too little: 3.1°, at least 10° needed; roll the car further between the stations"
        );
        let error = Error::new(ErrorCode::NotARotation)
            .stage(Stage::Sweep)
            .station(4)
            .wheel(Wheel::Rr)
            .value(3e-5)
            .at_most(1e-6);
        assert!(error.to_string().starts_with("sweep[4].rr: "), "{error}");
        assert!(error.to_string().contains(": 3.0e-5, at most 1.0e-6 allowed; "), "{error}");
    }

    #[test]
    fn numbers_and_names_are_distinct() {
        for (i, a) in ErrorCode::ALL.iter().enumerate() {
            assert!(a.number() < 0);
            for b in &ErrorCode::ALL[..i] {
                assert_ne!(a.number(), b.number());
                assert_ne!(a.name(), b.name());
            }
        }
        for (i, a) in WarningCode::ALL.iter().enumerate() {
            assert!(a.number() > 0);
            for b in &WarningCode::ALL[..i] {
                assert_ne!(a.number(), b.number());
                assert_ne!(a.name(), b.name());
            }
        }
    }
}

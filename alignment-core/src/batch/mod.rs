//! Many records in one call: readings from four poses, and whole sessions, as arrays.
//!
//! A record is one car at one moment, or one session. What comes in lies record after record; what goes out is one column per reading, as
//! a table has it. Every number has the bits that the same record gives by itself: by [`ahead_readings`](crate::vehicle::ahead_readings),
//! or by [`measure`](crate::measure()). A record that is refused keeps its place: its readings are NaN, and its code says why.
//!
//! # Speed
//! Readings from four poses are computed for several records side by side, in the lanes of the processor's vector registers: formulas that
//! are written once serve one record and many ([`vehicle`]). With the feature `simd` the widest registers of the processor at
//! hand are used. The few records that need more care than lanes can give (a rotation off by more than rounding, a wheel turned by more
//! than 20°, what is refused) are computed one by one. Of whole sessions the fits are computed side by side, if they are
//! rolled, level by their up, and every pose is exact and nothing weak, down to where a slip is looked for: state the pose noise, or noise is
//! looked into. The rest of each, and every other session, is measured one by one. Nothing here knows of threads: a caller
//! [splits](AheadRecords::part) the records as it likes.
//!
//! # Example
//! ```
//! use alignment_core::batch::{self, Columns, SessionRecords, Stations};
//! use alignment_core::{measure, paths, simulate::VirtualVehicle};
//!
//! let session = VirtualVehicle::default().session();
//! let rolling: Vec<_> = session.rolling.iter().map(batch::poses_of).collect();
//! let ahead = [batch::poses_of(&session.ahead)];
//! // One record of as many rolling stations, and no sweep.
//! let records = SessionRecords {
//!     rolling: Stations { poses: &rolling, each: rolling.len() },
//!     ahead: &ahead,
//!     ..SessionRecords::new(&session)
//! };
//! let (mut camber_deg, mut codes, mut warnings) = ([0.0], [0], [0]);
//! let readings = [paths::position("wheels.fl.camber_deg")?];
//! let mut columns = Columns { readings: &readings, values: &mut [&mut camber_deg], codes: &mut codes };
//! batch::measure(&records, &mut columns, &mut warnings)?;
//! assert_eq!(Some(camber_deg[0]), measure(&session)?.alignment.wheels.fl.camber_deg);
//! # Ok::<(), alignment_core::Error>(())
//! ```

#[cfg(feature = "simd")]
mod sessions;
#[cfg(feature = "simd")]
mod side_by_side;

use crate::alignment::{Alignment, Measurement};
use crate::compensation::Compensation;
use crate::error::{Error, ErrorCode};
use crate::frame::{Transform, Vector};
use crate::layout::{ByAxle, ByWheel, Wheel};
use crate::paths::COUNT;
use crate::pose::{self, Pose, ROTATION_TOLERANCE};
use crate::session::{self, Centreline, Method, Poses, Session, Sighting, Stage, Station};
use crate::spindle::runout_deg;
use crate::staged::{self, Beside, Known, Seen};
use crate::vehicle::{self, AheadReadings};
use alloc::vec::Vec;
use core::ops::Range;

/// The poses of the four targets, `rig_from_target` as 4×4 matrices by rows: fl, fr, rl, rr.
pub type Poses4 = [[[f64; 4]; 4]; 4];

/// Readings straight ahead from the four poses of each record.
///
/// A slice of length 1 holds for all records.
#[derive(Debug, Clone, Copy)]
pub struct AheadRecords<'a> {
    /// The poses of each record.
    pub poses: &'a [Poses4],
    /// The spindle in each target, as [`Compensation::spindle_in_target`].
    pub spindle_in_target: &'a [[[f64; 3]; 4]],
    /// The wheel centre in each target, as [`Compensation::centre_in_target_mm`].
    pub centre_in_target_mm: &'a [[[f64; 3]; 4]],
    /// The rolling radii, as [`Compensation::rolling_radius_mm`]: NaN where there is none.
    pub rolling_radius_mm: &'a [[f64; 4]],
    /// Unit vector upward in the rig frame.
    pub up: &'a [[f64; 3]],
    /// Loaded radius per axle, mm.
    pub loaded_radius_mm: ByAxle<Option<f64>>,
    /// How the centreline is defined.
    pub centreline: Centreline,
}

/// Where the results go: one column per reading, one row per record.
#[derive(Debug)]
pub struct Columns<'a, 'b> {
    /// The readings asked for, by their positions in [`READINGS`](crate::paths::READINGS).
    pub readings: &'a [usize],
    /// A column for each of them. NaN is written where the record has no such reading, and where it is refused.
    pub values: &'a mut [&'b mut [f64]],
    /// The error code of each record; 0 where it was computed.
    pub codes: &'a mut [i32],
}

impl Columns<'_, '_> {
    /// Refuses columns that do not fit the records.
    fn check(&self, records: usize) -> Result<(), Error> {
        let lengths = self.values.iter().map(|column| column.len()).chain([self.codes.len()]);
        for length in lengths {
            same_length("columns", length, records)?;
        }
        same_length("readings", self.values.len(), self.readings.len())?;
        match self.readings.iter().find(|&&reading| reading >= COUNT) {
            Some(&reading) => {
                Err(Error::new(ErrorCode::UnknownReading).value(to_f64(reading)).at_most(to_f64(COUNT - 1)))
            }
            None => Ok(()),
        }
    }

    fn write(&mut self, record: usize, result: Result<&mut Alignment, &mut Error>) {
        let (code, values) = match result {
            Ok(tree) => (0, tree.numbers()),
            Err(error) => (error.code.number(), [f64::NAN; COUNT]),
        };
        self.codes[record] = code;
        for (column, &reading) in self.values.iter_mut().zip(self.readings) {
            column[record] = values[reading];
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "a count in memory is far below 2^52")]
fn to_f64(count: usize) -> f64 {
    count as f64
}

fn same_length(input: &'static str, length: usize, expected: usize) -> Result<(), Error> {
    let error = || Error::new(ErrorCode::Contradiction).input(input).value(to_f64(length));
    if length == expected { Ok(()) } else { Err(error().at_least(to_f64(expected)).at_most(to_f64(expected))) }
}

/// Of a slice that holds one for all, or one for each.
fn of<T>(each: &[T], record: usize) -> &T {
    if each.len() == 1 { &each[0] } else { &each[record] }
}

impl AheadRecords<'_> {
    /// Some of the records, in their order: what one thread, or one machine, computes of them.
    ///
    /// # Errors
    /// [`ErrorCode::Contradiction`] when there are not so many.
    ///
    /// ```
    /// # use alignment_core::{batch::{AheadRecords, Columns}, session::{ByAxle, Centreline}};
    /// # let pose = |x, y| [[1.0, 0.0, 0.0, x], [0.0, 1.0, 0.0, y], [0.0, 0.0, 1.0, 310.0], [0.0, 0.0, 0.0, 1.0]];
    /// # let car = |wheelbase| [pose(wheelbase, 760.0), pose(wheelbase, -760.0), pose(0.0, 750.0), pose(0.0, -750.0)];
    /// # let (left, right) = ([0.0, 1.0, 0.0], [0.0, -1.0, 0.0]);
    /// # let records = AheadRecords {
    /// #     poses: &[car(2600.0), car(2700.0)],
    /// #     spindle_in_target: &[[left, right, left, right]],
    /// #     centre_in_target_mm: &[[[0.0; 3]; 4]],
    /// #     rolling_radius_mm: &[[310.0; 4]],
    /// #     up: &[[0.0, 0.0, 1.0]],
    /// #     loaded_radius_mm: ByAxle::default(),
    /// #     centreline: Centreline::AxleMidpoints,
    /// # };
    /// let second = records.part(1..2)?; // records as in `one`, below
    /// assert_eq!(second.one(0)?, records.one(1)?);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn part(&self, records: Range<usize>) -> Result<Self, Error> {
        Ok(Self {
            poses: some("poses", self.poses, &records)?,
            spindle_in_target: shared("spindle_in_target", self.spindle_in_target, &records)?,
            centre_in_target_mm: shared("centre_in_target_mm", self.centre_in_target_mm, &records)?,
            rolling_radius_mm: shared("rolling_radius_mm", self.rolling_radius_mm, &records)?,
            up: shared("up", self.up, &records)?,
            ..*self
        })
    }
}

/// Some of what stands in a slice for each record.
fn some<'a, T>(input: &'static str, each: &'a [T], records: &Range<usize>) -> Result<&'a [T], Error> {
    let error =
        || Error::new(ErrorCode::Contradiction).input(input).value(to_f64(each.len())).at_least(to_f64(records.end));
    each.get(records.clone()).ok_or_else(error)
}

/// The same of a slice that may hold one for all.
fn shared<'a, T>(input: &'static str, each: &'a [T], records: &Range<usize>) -> Result<&'a [T], Error> {
    if each.len() == 1 { Ok(each) } else { some(input, each, records) }
}

/// The same of a slice that may be empty.
fn optional<'a, T>(input: &'static str, each: &'a [T], records: &Range<usize>) -> Result<&'a [T], Error> {
    if each.is_empty() { Ok(each) } else { shared(input, each, records) }
}

impl AheadRecords<'_> {
    fn check(&self) -> Result<(), Error> {
        for (input, length) in [
            ("spindle_in_target", self.spindle_in_target.len()),
            ("centre_in_target_mm", self.centre_in_target_mm.len()),
            ("rolling_radius_mm", self.rolling_radius_mm.len()),
            ("up", self.up.len()),
        ] {
            if length != 1 {
                same_length(input, length, self.poses.len())?;
            }
        }
        session::check_loaded_radii(&self.loaded_radius_mm)
    }

    /// The compensation of a wheel of one record.
    fn clamp(&self, record: usize, wheel: Wheel) -> Compensation {
        let i = index_of(wheel);
        let radius = of(self.rolling_radius_mm, record)[i];
        let spindle_in_target = of(self.spindle_in_target, record)[i];
        Compensation {
            spindle_in_target,
            centre_in_target_mm: of(self.centre_in_target_mm, record)[i],
            runout_deg: runout_deg(Vector::new(spindle_in_target)),
            rolling_radius_mm: (!radius.is_nan()).then_some(radius),
            roll_range_deg: 0.0,
        }
    }

    /// The readings of one record by itself, in their tree.
    ///
    /// # Errors
    /// Those of [`vehicle::ahead_readings`]; [`ErrorCode::Contradiction`] when there are not so many records.
    ///
    /// ```
    /// use alignment_core::batch::AheadRecords;
    /// use alignment_core::session::{ByAxle, Centreline};
    ///
    /// // Two flawless cars whose targets sit on the wheel centres.
    /// let pose = |x, y| [[1.0, 0.0, 0.0, x], [0.0, 1.0, 0.0, y], [0.0, 0.0, 1.0, 310.0], [0.0, 0.0, 0.0, 1.0]];
    /// let car = |wheelbase| [pose(wheelbase, 760.0), pose(wheelbase, -760.0), pose(0.0, 750.0), pose(0.0, -750.0)];
    /// let (left, right) = ([0.0, 1.0, 0.0], [0.0, -1.0, 0.0]);
    /// let records = AheadRecords {
    ///     poses: &[car(2600.0), car(2700.0)],
    ///     spindle_in_target: &[[left, right, left, right]],
    ///     centre_in_target_mm: &[[[0.0; 3]; 4]],
    ///     rolling_radius_mm: &[[310.0; 4]],
    ///     up: &[[0.0, 0.0, 1.0]],
    ///     loaded_radius_mm: ByAxle::default(),
    ///     centreline: Centreline::AxleMidpoints,
    /// };
    /// assert_eq!(records.one(1)?.chassis.wheelbase_left_mm, Some(2700.0));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[cold]
    #[inline(never)]
    pub fn one(&self, record: usize) -> Result<Alignment, Error> {
        self.part(record..record.saturating_add(1))?;
        let compensation = ByWheel::from_fn(|wheel| self.clamp(record, wheel));
        let poses = ByWheel::try_from_fn(|wheel| {
            let pose = Pose::from_matrix4(self.poses[record][index_of(wheel)]);
            pose.map_err(|error| error.stage(Stage::Ahead).wheel(wheel))
        })?;
        let up = *of(self.up, record);
        let now = vehicle::ahead_readings(&compensation, &poses, up, &self.loaded_radius_mm, self.centreline)?;
        Ok(tree_of(&now))
    }

    /// Computes all records.
    fn run(&self, columns: &mut Columns<'_, '_>) {
        #[cfg(feature = "simd")]
        let done = pulp::Arch::new().dispatch(side_by_side::Run { records: self, columns });
        #[cfg(not(feature = "simd"))]
        let done = 0;
        for record in done..self.poses.len() {
            columns.write(record, self.one(record).as_mut());
        }
    }
}

const fn index_of(wheel: Wheel) -> usize {
    wheel as usize
}

fn tree_of(now: &AheadReadings) -> Alignment {
    let error = now.wheels.fl.toe_deg.zip(now.wheels.fr.toe_deg).map(|(left, right)| vehicle::ahead_error(left, right));
    let mut tree = Alignment { wheels: now.wheels, axles: now.axles, chassis: now.chassis, ..Alignment::default() };
    tree.steering.ahead_error_deg = error;
    tree
}

/// Readings straight ahead of many records: those of [`vehicle::ahead_readings`]. What needs a sweep is NaN. Nothing is allocated.
///
/// # Errors
/// What holds for all records: [`ErrorCode::Contradiction`] for slices and columns of different lengths, [`ErrorCode::UnknownReading`], and the
/// errors of `loaded_radius_mm`. What is wrong with one record stands in its code.
///
/// ```
/// # use alignment_core::{batch::{AheadRecords, Columns}, session::{ByAxle, Centreline}};
/// # let pose = |x, y| [[1.0, 0.0, 0.0, x], [0.0, 1.0, 0.0, y], [0.0, 0.0, 1.0, 310.0], [0.0, 0.0, 0.0, 1.0]];
/// # let car = |wheelbase| [pose(wheelbase, 760.0), pose(wheelbase, -760.0), pose(0.0, 750.0), pose(0.0, -750.0)];
/// # let (left, right) = ([0.0, 1.0, 0.0], [0.0, -1.0, 0.0]);
/// # let records = AheadRecords {
/// #     poses: &[car(2600.0), car(2700.0)],
/// #     spindle_in_target: &[[left, right, left, right]],
/// #     centre_in_target_mm: &[[[0.0; 3]; 4]],
/// #     rolling_radius_mm: &[[310.0; 4]],
/// #     up: &[[0.0, 0.0, 1.0]],
/// #     loaded_radius_mm: ByAxle::default(),
/// #     centreline: Centreline::AxleMidpoints,
/// # };
/// # use alignment_core::paths::position;
/// let (mut wheelbase_mm, mut codes) = ([0.0; 2], [0; 2]); // of two records, as in [`AheadRecords::one`]
/// let readings = [position("chassis.wheelbase_left_mm")?];
/// let mut columns = Columns { readings: &readings, values: &mut [&mut wheelbase_mm], codes: &mut codes };
/// alignment_core::batch::ahead_readings(&records, &mut columns)?;
/// assert_eq!((wheelbase_mm, codes), ([2600.0, 2700.0], [0, 0]));
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn ahead_readings(records: &AheadRecords<'_>, columns: &mut Columns<'_, '_>) -> Result<(), Error> {
    records.check()?;
    columns.check(records.poses.len())?;
    records.run(columns);
    Ok(())
}

/// The stations of one kind of each record.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stations<'a> {
    /// The stations, record after record.
    pub poses: &'a [Poses4],
    /// How many each record has.
    pub each: usize,
}

impl<'a> Stations<'a> {
    fn of(&self, record: usize) -> &'a [Poses4] {
        &self.poses[record * self.each..(record + 1) * self.each]
    }

    fn part(&self, input: &'static str, records: &Range<usize>) -> Result<Self, Error> {
        let poses =
            some(input, self.poses, &(records.start.saturating_mul(self.each)..records.end.saturating_mul(self.each)))?;
        Ok(Self { poses, ..*self })
    }

    fn check(&self, input: &'static str, records: usize) -> Result<(), Error> {
        same_length(input, self.poses.len(), records.saturating_mul(self.each))
    }
}

/// Whole sessions that have as many stations each. A pose of sixteen NaN is a wheel that was not seen.
#[derive(Debug, Clone, Copy)]
pub struct SessionRecords<'a> {
    /// What holds for every session. Its own stations are left alone.
    pub settings: &'a Session,
    /// The rolling stations.
    pub rolling: Stations<'a>,
    /// The station straight ahead of each record.
    pub ahead: &'a [Poses4],
    /// The stations of the sweep; none without a sweep.
    pub sweep: Stations<'a>,
    /// Full lock to the left; empty where it was not taken.
    pub lock_left: &'a [Poses4],
    /// Full lock to the right; empty where it was not taken.
    pub lock_right: &'a [Poses4],
    /// Up in the rig, of each record or of all; empty where the settings say it.
    pub up: &'a [[f64; 3]],
    /// The clamp standoffs fl, fr, rl, rr, of each record or of all; empty where the settings say them.
    pub clamp_standoff_mm: &'a [[f64; 4]],
}

/// Where one record after the other is measured.
struct Room {
    session: Session,
    seen: Seen,
    measurement: Measurement,
}

impl<'a> SessionRecords<'a> {
    /// No records yet.
    ///
    /// ```
    /// # use alignment_core::{batch::SessionRecords, simulate::VirtualVehicle};
    /// let session = VirtualVehicle::default().session();
    /// assert!(SessionRecords::new(&session).ahead.is_empty());
    /// ```
    #[must_use]
    pub fn new(settings: &'a Session) -> Self {
        let (rolling, sweep) = (Stations::default(), Stations::default());
        Self { settings, rolling, ahead: &[], sweep, lock_left: &[], lock_right: &[], up: &[], clamp_standoff_mm: &[] }
    }

    /// Some of the records, in their order.
    ///
    /// # Errors
    /// [`ErrorCode::Contradiction`] when there are not so many.
    ///
    /// ```
    /// # use alignment_core::{batch::{self, SessionRecords, Stations}, simulate::VirtualVehicle};
    /// let session = VirtualVehicle::default().session();
    /// let rolling: Vec<_> = session.rolling.iter().map(batch::poses_of).collect();
    /// let ahead = [batch::poses_of(&session.ahead)];
    /// let rolling = Stations { poses: &rolling, each: rolling.len() };
    /// let records = SessionRecords { rolling, ahead: &ahead, ..SessionRecords::new(&session) };
    /// assert!(records.part(0..1).is_ok() && records.part(0..2).is_err());
    /// ```
    pub fn part(&self, records: Range<usize>) -> Result<Self, Error> {
        let lock = |input, each: &'a [Poses4]| if each.is_empty() { Ok(each) } else { some(input, each, &records) };
        Ok(Self {
            rolling: self.rolling.part("rolling", &records)?,
            ahead: some("ahead", self.ahead, &records)?,
            sweep: self.sweep.part("sweep", &records)?,
            lock_left: lock("lock_left", self.lock_left)?,
            lock_right: lock("lock_right", self.lock_right)?,
            up: optional("up", self.up, &records)?,
            clamp_standoff_mm: optional("clamp_standoff_mm", self.clamp_standoff_mm, &records)?,
            ..*self
        })
    }

    fn check(&self) -> Result<(), Error> {
        let records = self.ahead.len();
        self.rolling.check("rolling", records)?;
        self.sweep.check("sweep", records)?;
        for (input, length) in [("lock_left", self.lock_left.len()), ("lock_right", self.lock_right.len())] {
            if length != 0 {
                same_length(input, length, records)?;
            }
        }
        for (input, length) in [("up", self.up.len()), ("clamp_standoff_mm", self.clamp_standoff_mm.len())] {
            if length > 1 {
                same_length(input, length, records)?;
            }
        }
        Ok(())
    }

    /// One record as a session.
    ///
    /// # Errors
    /// [`ErrorCode::Contradiction`] when there are not so many records; [`ErrorCode::NotFinite`] and [`ErrorCode::NotARotation`] for a
    /// matrix that is no pose.
    ///
    /// ```
    /// # use alignment_core::{batch::{self, SessionRecords, Stations}, simulate::VirtualVehicle};
    /// let session = VirtualVehicle::default().session();
    /// let rolling: Vec<_> = session.rolling.iter().map(batch::poses_of).collect();
    /// let ahead = [batch::poses_of(&session.ahead)];
    /// let rolling = Stations { poses: &rolling, each: rolling.len() };
    /// let records = SessionRecords { rolling, ahead: &ahead, ..SessionRecords::new(&session) };
    /// assert_eq!(records.one(0)?.rolling, session.rolling);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn one(&self, record: usize) -> Result<Session, Error> {
        let part = self.part(record..record.saturating_add(1))?;
        let mut session = self.empty();
        part.fill_settings(0, &mut session);
        part.fill(0, &mut session).map(|()| session)
    }

    fn empty(&self) -> Session {
        Session {
            rolling: Vec::new(),
            ahead: Station::default(),
            sweep: Vec::new(),
            lock_left: None,
            lock_right: None,
            ..self.settings.clone()
        }
    }

    /// Measures one record and writes what was found. What is known of it beforehand need not be seen.
    fn write(
        &self,
        record: usize,
        known: Option<&Known>,
        room: &mut Room,
        columns: &mut Columns<'_, '_>,
        warnings: &mut [u32],
    ) {
        let mut result = self.measure(record, known, room);
        let Measurement { alignment, warnings: found, .. } = &mut room.measurement;
        let found = if result.is_ok() { &found[..] } else { &[] };
        warnings[record] = found.iter().fold(0, |bits, warning| bits | warning.code.bit());
        columns.write(record, result.as_mut().map(|()| alignment));
    }

    /// Measures one record, in the room that the one before has left.
    fn measure(&self, record: usize, known: Option<&Known>, room: &mut Room) -> Result<(), Error> {
        let Room { session, seen, measurement } = room;
        self.fill_settings(record, session);
        // A session is built only of what must be mended, refused, or explained.
        if !self.see(record, known, seen) {
            self.fill(record, session)?;
            *measurement = crate::measure(session)?;
            return Ok(());
        }
        session::check_inputs(session)?;
        *measurement = Measurement::default();
        staged::measure_into(measurement, session, seen, known, Beside::Nothing).map(|_| ())
    }

    /// Whether poses of these records can be taken as they are, if they are exact.
    fn may_be_seen(&self) -> bool {
        let plain = self.settings.method == Method::Staged && self.settings.cameras.is_empty();
        plain && self.rolling.each.max(self.sweep.each) <= session::MAX_STATIONS
    }

    /// Takes the poses of a record as they are. Says whether that is all there is to see: every wheel seen, in the rig, nothing to mend.
    fn see(&self, record: usize, known: Option<&Known>, seen: &mut Seen) -> bool {
        let Self { rolling, sweep, .. } = self;
        if !self.may_be_seen() {
            return false;
        }
        let sweep = if known.is_some_and(|known| known.sweep.is_some()) { &Stations::default() } else { sweep };
        for (given, stations) in [(rolling, &mut seen.rolling), (sweep, &mut seen.steered.sweep)] {
            stations.resize(given.each, Poses::default());
            if !given.of(record).iter().zip(stations).all(|(poses, station)| see(poses, station)) {
                return false;
            }
        }
        see(&self.ahead[record], &mut seen.ahead)
            && [(self.lock_left, &mut seen.steered.locks.left), (self.lock_right, &mut seen.steered.locks.right)]
                .into_iter()
                .all(|(given, lock)| given.get(record).is_none_or(|poses| see(poses, lock)))
    }

    /// Puts what a record says beside its poses into a session that had another before.
    fn fill_settings(&self, record: usize, session: &mut Session) {
        if !self.up.is_empty() {
            session.up = Some(*of(self.up, record));
        }
        if !self.clamp_standoff_mm.is_empty() {
            let standoffs = of(self.clamp_standoff_mm, record);
            session.clamp_standoff_mm = ByWheel::from_fn(|wheel| standoffs[index_of(wheel)]);
        }
    }

    /// Puts the poses of a record into a session that had another before.
    fn fill(&self, record: usize, session: &mut Session) -> Result<(), Error> {
        for (stage, poses, stations) in [
            (Stage::Rolling, self.rolling.of(record), &mut session.rolling),
            (Stage::Sweep, self.sweep.of(record), &mut session.sweep),
        ] {
            stations.resize(poses.len(), Station::default());
            for (index, (poses, station)) in poses.iter().zip(stations).enumerate() {
                station_of(poses, station).map_err(|error| error.stage(stage).station(index))?;
            }
        }
        station_of(&self.ahead[record], &mut session.ahead).map_err(|error| error.stage(Stage::Ahead))?;
        for (stage, poses, lock) in [
            (Stage::LockLeft, self.lock_left, &mut session.lock_left),
            (Stage::LockRight, self.lock_right, &mut session.lock_right),
        ] {
            let Some(poses) = poses.get(record) else { continue };
            let station = lock.get_or_insert_default();
            station_of(poses, station).map_err(|error| error.stage(stage))?;
        }
        Ok(())
    }
}

/// Takes the poses of a station as they are. Says whether nothing has to be mended or refused.
fn see(poses: &Poses4, station: &mut Poses) -> bool {
    Wheel::ALL.into_iter().all(|wheel| {
        let [x, y, z, last] = poses[index_of(wheel)];
        let row = |[a, b, c, _]: [f64; 4]| [a, b, c];
        let pose = Transform::from_rows([row(x), row(y), row(z)], [x[3], y[3], z[3]]);
        *station.get_mut(wheel) = Some(pose);
        let [a, b, c, d] = last;
        pose::is_exact(&pose) & (a.abs() + b.abs() + c.abs() + (d - 1.0).abs() <= ROTATION_TOLERANCE)
    })
}

fn station_of(poses: &Poses4, station: &mut Station) -> Result<(), Error> {
    for wheel in Wheel::ALL {
        let matrix = &poses[index_of(wheel)];
        let not_seen = matrix.as_flattened().iter().all(|number| number.is_nan());
        let sighting = station.get_mut(wheel);
        *sighting = if not_seen {
            Sighting::NotSeen
        } else {
            Sighting::Pose(Pose::from_matrix4(*matrix).map_err(|error| error.wheel(wheel))?)
        };
    }
    Ok(())
}

/// The poses of a station as a record has them: of a wheel with several frames the first, of one that was not seen NaN. In mm.
///
/// ```
/// # use alignment_core::{batch::poses_of, simulate::VirtualVehicle};
/// let session = VirtualVehicle::default().session();
/// let [fl, ..] = poses_of(&session.ahead);
/// assert_eq!(fl[0][3], session.ahead.fl.frames()[0].translation_mm[0]);
/// ```
#[must_use]
pub fn poses_of(station: &Station) -> Poses4 {
    Wheel::ALL.map(|wheel| {
        let Some(Pose { rotation: [a, b, c], translation_mm: [x, y, z] }) = station.get(wheel).frames().first() else {
            return [[f64::NAN; 4]; 4];
        };
        [[a[0], a[1], a[2], *x], [b[0], b[1], b[2], *y], [c[0], c[1], c[2], *z], [0.0, 0.0, 0.0, 1.0]]
    })
}

/// Every reading of many sessions: those of [`measure`](crate::measure()). `warnings` takes the [bits](crate::error::WarningCode::bit) of
/// what is weak in each.
///
/// # Errors
/// What holds for all records: [`ErrorCode::Contradiction`] for slices and columns of different lengths, and [`ErrorCode::UnknownReading`]. What
/// is wrong with one record stands in its code.
///
/// See the example of the [module](self#example):
///
/// ```
/// # use alignment_core::{batch::{self, SessionRecords, Stations}, simulate::VirtualVehicle};
/// let session = VirtualVehicle::default().session();
/// let rolling: Vec<_> = session.rolling.iter().map(batch::poses_of).collect();
/// let ahead = [batch::poses_of(&session.ahead)];
/// let rolling = Stations { poses: &rolling, each: rolling.len() };
/// let records = SessionRecords { rolling, ahead: &ahead, ..SessionRecords::new(&session) };
/// # let (mut values, mut codes, mut warnings) = ([0.0], [0], [0]);
/// # let mut columns = batch::Columns { readings: &[0], values: &mut [&mut values], codes: &mut codes };
/// batch::measure(&records, &mut columns, &mut warnings)?;
/// # assert_eq!(codes, [0]);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn measure(records: &SessionRecords<'_>, columns: &mut Columns<'_, '_>, warnings: &mut [u32]) -> Result<(), Error> {
    records.check()?;
    columns.check(records.ahead.len())?;
    same_length("warnings", warnings.len(), records.ahead.len())?;
    let (seen, measurement) = (Seen::default(), Measurement::default());
    let mut room = Room { session: records.empty(), seen, measurement };
    #[cfg(feature = "simd")]
    let done = pulp::Arch::new().dispatch(sessions::Run { records, room: &mut room, columns, warnings });
    #[cfg(not(feature = "simd"))]
    let done = 0;
    for record in done..records.ahead.len() {
        records.write(record, None, &mut room, columns, warnings);
    }
    Ok(())
}

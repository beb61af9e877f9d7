//! Broken calls through the binary interface, drawn by seed: NULL, addresses that are not aligned, sizes and counts of every kind, texts and
//! numbers that were spoiled, random bytes in structs. None may crash, write where it was not asked to, or write at all when it refuses.
//!
//! 20 000 calls, or so many as `ABI_CASES` says: `ABI_CASES=1000000 cargo test --release -p alignment-ffi --test fuzz`. What is not tried is what
//! the header asks of a caller and no library can check: memory that is shorter than it is said to be, and results that overlap.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "any bits will do where numbers are drawn"
)]
#![expect(clippy::cast_ptr_alignment, reason = "places are aligned for eight bytes, but for those that must not be")]

#[path = "interface/owned.rs"]
mod owned;

use alignment_core::json::{session_to_json, specification_from_json};
use alignment_core::paths::READINGS;
use alignment_core::record::{Identity, Measured, Record};
use alignment_core::session::{CompensationMethod, Method, PoseNoise};
use alignment_core::simulate::VirtualVehicle;
use owned::{Kept, session_struct};
use std::collections::BTreeSet;
use std::ffi::{CStr, c_char};
use std::{env, fs, mem, ptr, slice};
use wheel_alignment::*;

/// Bytes of one place in memory that a call may be handed.
const PLACE: usize = 1 << 17;
/// What stands behind each place, and must stand there still.
const GUARD: u64 = 0xA5C3_A5C3_A5C3_A5C3;
const PLACES: usize = 40;

/// Numbers where formulas break.
const NUMBERS: [f64; 22] = [
    0.0,
    -0.0,
    1.0,
    -1.0,
    0.5,
    20.0,
    45.0,
    90.0,
    308.0,
    1500.0,
    2600.0,
    -20.0,
    1e6,
    1e-7,
    1e300,
    -1e300,
    5e-324,
    0.95,
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    f64::MAX,
];

/// Numbers as an alignment has them.
const PLAUSIBLE: [f64; 12] = [0.5, 0.95, 1.0, 2.0, 5.0, 20.0, 30.0, 300.0, 600.0, 1500.0, 2600.0, -0.5];

/// The SplitMix64 generator.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    fn one_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }

    fn number(&mut self) -> f64 {
        match self.below(8) {
            0 => f64::from_bits(self.next()),
            1 | 2 => NUMBERS[self.below(NUMBERS.len())],
            3 => (self.next() % 7) as f64 - 3.0,
            _ => (self.next() % 2_000_001) as f64 / 1e6 - 1.0,
        }
    }

    fn choice(&mut self) -> i32 {
        match self.below(12) {
            0 => self.next() as i32,
            1 => -1,
            _ => (self.next() % 3) as i32,
        }
    }

    /// A count that memory can have, or one that nothing can.
    fn count(&mut self) -> usize {
        match self.below(16) {
            0 => usize::MAX - self.below(3),
            1 => 1 << (60 + self.below(4)),
            _ => self.below(7),
        }
    }
}

/// What an argument before says of the next one.
#[derive(Clone, Copy)]
enum Before {
    Nothing,
    /// A text of so many bytes was handed over.
    Text(usize),
    /// Room for so many elements was handed over.
    Room(usize),
    /// Numbers were handed over, enough for one of each reading.
    Numbers,
}

/// Memory for calls, and what was drawn for the one that is under way.
struct Draw {
    random: Random,
    memory: Vec<Vec<u64>>,
    next: usize,
    texts: usize,
    before: Before,
    /// The results of this call: where, what stood there, and whether they may be written when it refuses.
    results: Vec<(*mut u8, Vec<u8>, bool)>,
    sound: Sound,
    /// Of the first session; it keeps what earlier calls did to it.
    tracker: *mut WaTracker,
}

/// Where some of the sound texts stand.
const SPECIFYING: usize = 4;
const CAR: usize = 5;
const ADJUSTING: usize = 15;
const MOVING: usize = 16;
const STANDING: usize = 17;
const RECORDED: usize = 18;

/// What is spoiled.
struct Sound {
    sessions: Vec<(WaSession, Kept)>,
    texts: Vec<String>,
    /// Of the first session.
    readings: WaAlignment,
}

fn readings_of(session: &WaSession) -> WaAlignment {
    let mut measured = mem::MaybeUninit::<WaMeasurement>::zeroed();
    // SAFETY: structs of our own; numbers are all that a measurement has.
    unsafe {
        measured.as_mut_ptr().cast::<usize>().write(mem::size_of::<WaMeasurement>());
        assert_eq!(wa_measure(session, measured.as_mut_ptr(), ptr::null_mut()), WA_SUCCESS);
        measured.assume_init().alignment
    }
}

/// A record of a car, with a few of its readings.
fn record(car: &VirtualVehicle) -> String {
    let mut measured = Measured::of(&car.session(), None).unwrap();
    measured.readings.truncate(3);
    Record { before: Some(measured), ..Record::new(Identity::default()) }.to_json().unwrap()
}

impl Sound {
    fn new() -> Self {
        let few = |car: VirtualVehicle| VirtualVehicle {
            roll_deg: vec![-20.0, 3.0, 20.0],
            sweep_deg: vec![-20.0, -7.0, 9.0, 20.0],
            ..car
        };
        let noise = Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.1 });
        let spun = VirtualVehicle {
            compensation: CompensationMethod::Spun,
            roll_deg: vec![-100.0, 0.0, 120.0],
            ..few(VirtualVehicle::random(4))
        };
        let cars = [
            few(VirtualVehicle::default()),
            few(VirtualVehicle { pose_noise: noise, frames: 3, ..VirtualVehicle::random(2) }),
            few(VirtualVehicle { pose_noise: noise, ..VirtualVehicle::random(3) }),
            spun,
        ];
        let mut sessions: Vec<_> = cars.iter().map(VirtualVehicle::session).collect();
        sessions[2].method = Method::Joint;
        let specification =
            fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/demo_specification.json")).unwrap();
        assert!(specification_from_json(&specification).is_ok());
        let mut texts: Vec<String> = sessions.iter().map(session_to_json).collect();
        texts.push(specification);
        texts.push(serde_json::to_string(&cars[0]).unwrap());
        texts.extend(READINGS[..9].iter().map(|&path| path.to_owned()));
        texts.push(ADJUSTERS.to_owned());
        texts.push(RIGID.to_owned());
        texts.push(STAND.to_owned());
        texts.push(record(&cars[0]));
        texts.extend(["", "205/55R16", "{}", "wheels.fl", "205/55", "null", "°"].map(str::to_owned));
        assert_eq!(texts[ADJUSTING], ADJUSTERS);
        assert!(texts[RECORDED].starts_with("{\n  \"format\": \"alignment-record/1\""));
        assert!(specification_from_json(&texts[SPECIFYING]).is_ok() && texts[CAR].contains("wheelbase_mm"));
        let sessions: Vec<_> = sessions.iter().map(session_struct).collect();
        let readings = readings_of(&sessions[0].0);
        Self { sessions, texts, readings }
    }
}

impl Draw {
    fn new() -> Self {
        let sound = Sound::new();
        Self {
            tracker: new_tracker(&sound.sessions[0].0),
            random: Random(0),
            memory: vec![vec![0; PLACE / 8 + 8]; PLACES],
            next: 0,
            texts: 0,
            before: Before::Nothing,
            results: Vec::new(),
            sound,
        }
    }

    fn begin(&mut self, case: u64) {
        self.random = Random(case.wrapping_mul(0xD134_2543_DE82_EF95));
        (self.next, self.texts, self.before) = (0, 0, Before::Nothing);
        self.results.clear();
    }

    /// A place of its own, at least `PLACE` bytes.
    fn place(&mut self) -> *mut u8 {
        let place = &mut self.memory[self.next];
        self.next += 1;
        place[PLACE / 8..].fill(GUARD);
        place.as_mut_ptr().cast()
    }

    /// The address that is handed over: that of the place, none, or one that is not aligned.
    fn address<T>(&mut self, place: *mut u8) -> *mut T {
        match self.random.below(40) {
            0 => ptr::null_mut(),
            // SAFETY: within the place and what stands behind it.
            1 => unsafe { place.add(1 + self.random.below(7)).cast() },
            _ => place.cast(),
        }
    }

    fn read<T: Content>(&mut self) -> *const T {
        let place = self.place();
        // SAFETY: a place of our own, aligned for eight bytes, and large enough for what content needs.
        unsafe { T::fill(place.cast(), self) };
        self.before = Before::Nothing;
        self.address::<T>(place)
    }

    fn write<T: Content>(&mut self, spared: bool) -> *mut T {
        let place = self.place();
        let shown = mem::size_of::<T>().max(64);
        // SAFETY: a place of our own.
        unsafe {
            slice::from_raw_parts_mut(place, shown).fill(self.random.next() as u8);
            T::size_of_result(place.cast(), &mut self.random);
            let seen = slice::from_raw_parts(place, shown).to_vec();
            self.results.push((place, seen, spared));
        }
        self.before = Before::Room(PLACE / mem::size_of::<T>());
        self.address::<T>(place)
    }

    /// Nothing stands otherwise behind the places, nor, after a refusal, in a result.
    fn check(&self, name: &str, case: u64, status: i32) {
        for place in &self.memory[..self.next] {
            assert!(place[PLACE / 8..].iter().all(|&word| word == GUARD), "{name}, case {case}: wrote too far");
        }
        // SAFETY: the library's strings are static and end with a NUL.
        let known = unsafe { CStr::from_ptr(wa_status_name(status)) };
        assert!(known != c"unknown" && known != c"internal_fault", "{name}, case {case}: {status} {known:?}");
        if status != WA_SUCCESS {
            for (place, seen, spared) in &self.results {
                // SAFETY: a place of our own.
                let now = unsafe { slice::from_raw_parts(*place, seen.len()) };
                assert!(*spared || now == seen, "{name}, case {case}: refused with {known:?}, and wrote");
            }
        }
    }
}

/// What a pointer may point to.
trait Content: Sized {
    /// # Safety
    /// `to` is a place of `PLACE` bytes, aligned for eight.
    unsafe fn fill(to: *mut Self, draw: &mut Draw);

    /// Sets the size of a result that states one.
    ///
    /// # Safety
    /// As `fill`.
    unsafe fn size_of_result(_to: *mut Self, _random: &mut Random) {}
}

fn stated(known: usize, random: &mut Random) -> usize {
    match random.below(24) {
        0 => random.next() as usize,
        1 => known - 8,
        2 => known + 8 * random.below(20),
        3 => [0, 4096, 4097, usize::MAX][random.below(4)],
        _ => known,
    }
}

/// Zeros behind a struct, as a later header would have them; seldom not.
unsafe fn behind(to: *mut u8, known: usize, random: &mut Random) {
    let fill = u8::from(random.one_in(16));
    // SAFETY: as the caller says of `to`.
    unsafe { ptr::write_bytes(to.add(known), fill, 4096_usize.saturating_sub(known)) };
}

/// Structs of numbers alone: any eight bytes make one, whatever their type.
macro_rules! of_numbers {
    ($($kind:ty),* $(,)?) => {$(
        impl Content for $kind {
            unsafe fn fill(to: *mut Self, draw: &mut Draw) {
                let count = 10_usize.div_ceil(mem::size_of::<Self>() / 8) * mem::size_of::<Self>() / 8;
                for index in 0..count.max(64) {
                    let number = if draw.random.one_in(20) { f64::from_bits(draw.random.next() % 3) } else { draw.random.number() };
                    // SAFETY: within the place.
                    unsafe { to.cast::<f64>().add(index).write(number) };
                }
            }
        }
    )*};
}

of_numbers!(
    u64,
    WaAxisAngles,
    WaEccentricAngles,
    WaExpanded,
    WaShelfShim,
    WaShimChanges,
    WaShimThicknesses,
    WaSubframeShift,
    WaTaperedShim,
    WaToeChanges,
    WaInput,
    WaOutput,
    WaPlane,
    WaStandMoves,
    WaStandReadings,
    WaSpread,
    WaTyreSize,
    WaDegreesMinutes,
    WaPoseNoise,
    WaInputUncertainty,
    WaCamera,
    WaFlags,
    WaFlagsByBasis
);

impl Random {
    fn optional(&mut self, value: f64) -> WaOptional {
        let value = if self.one_in(12) { self.number() } else { value };
        WaOptional { present: if self.one_in(12) { self.choice().into() } else { i64::from(self.one_in(2)) }, value }
    }
}

/// Structs that make sense more often than not, several in a row.
macro_rules! in_a_row {
    ($($kind:ident: |$random:ident, $index:ident| $make:expr;)*) => {$(
        impl Content for $kind {
            unsafe fn fill(to: *mut Self, draw: &mut Draw) {
                for $index in 0..8_u8 {
                    let $random = &mut draw.random;
                    let made = $make;
                    // SAFETY: within the place.
                    unsafe { to.add($index.into()).write(made) };
                }
            }
        }
    )*};
}

in_a_row! {
    WaOptional: |random, _index| random.optional(300.0);
    WaLimits: |random, _index| WaLimits { min: random.optional(-1.0), max: random.optional(1.0) };
    WaUncertain: |random, _index| WaUncertain {
        standard_uncertainty: if random.one_in(6) { random.number() } else { 0.1 },
        degrees_of_freedom: random.optional(9.0),
    };
    WaTolerance: |random, _index| {
        let none = WaOptional { present: 0, value: 7.0 };
        let plain = random.one_in(2);
        let mut one = |value: f64, wanted: bool| if wanted || random.one_in(12) { random.optional(value) } else { none };
        let (min, max) = (one(-1.0, plain), one(1.0, plain));
        let (nominal, minus, plus) = (one(0.0, !plain), one(1.0, !plain), one(1.0, !plain));
        let reference_diameter_mm = one(400.0, false);
        WaTolerance { min, max, nominal, minus, plus, reference_diameter_mm, unit: random.choice() }
    };
    WaGaugePosition: |random, index| WaGaugePosition {
        yaw_deg: if random.one_in(9) { random.number() } else { 20.0 * (f64::from(index) - 1.0) },
        camber_deg: if random.one_in(9) { random.number() } else { 0.5 },
    };
    WaStance: |random, _index| WaStance {
        loaded_radius_mm: [(); 2].map(|()| random.optional(300.0)),
        centreline: random.choice(),
    };
    WaPitchPosition: |random, index| WaPitchPosition {
        azimuth_deg: if random.one_in(9) { random.number() } else { 20.0 * (f64::from(index) - 1.0) },
        pitch_deg: if random.one_in(9) { random.number() } else { 0.5 },
    };
}

/// Structs of numbers that begin with their size.
macro_rules! with_size {
    ($($kind:ty),* $(,)?) => {$(
        impl Content for $kind {
            unsafe fn fill(to: *mut Self, draw: &mut Draw) {
                for index in 1..mem::size_of::<Self>() / 8 {
                    let number = if draw.random.one_in(3) { f64::from_bits(draw.random.next() % 3) } else { draw.random.number() };
                    // SAFETY: within the place.
                    unsafe { to.cast::<f64>().add(index).write(number) };
                }
                // SAFETY: as the caller says.
                unsafe {
                    Self::size_of_result(to, &mut draw.random);
                    behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
                }
            }

            unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
                // SAFETY: as the caller says; each begins with its size.
                unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
            }
        }
    )*};
}

with_size!(WaError, WaJudgement, WaMeasurement, WaReach, WaRepeatability, WaStandAssessment, WaUncertainty);

/// Readings of a car that stands level at the origin, spoiled or not.
macro_rules! of_a_car {
    ($($kind:ty: $($wheels:ident).+;)*) => {$(
        impl Content for $kind {
            unsafe fn fill(to: *mut Self, draw: &mut Draw) {
                // SAFETY: as the caller says; any bits make one, for it is made of numbers.
                unsafe {
                    ptr::write_bytes(to, 0, 1);
                    (*to).$($wheels).+ = draw.sound.readings.wheels;
                    (*to).rig_from_vehicle.rotation = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
                    for _ in 0..draw.random.below(3) {
                        let place = 1 + draw.random.below(mem::size_of::<Self>() / 8 - 1);
                        to.cast::<f64>().add(place).write(draw.random.number());
                    }
                    Self::size_of_result(to, &mut draw.random);
                    behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
                }
            }

            unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
                // SAFETY: as the caller says; each begins with its size.
                unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
            }
        }
    )*};
}

of_a_car! {
    WaAheadReadings: wheels;
    WaLiveReadings: alignment.wheels;
}

impl Content for WaPoseCovariance {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let mut covariance = [[0.0; 6]; 6];
        for (axis, row) in covariance.iter_mut().enumerate() {
            row[axis] = draw.random.number().abs().min(1.0);
        }
        if draw.random.one_in(4) {
            covariance[draw.random.below(6)][draw.random.below(6)] = draw.random.number();
        }
        // SAFETY: as the caller says.
        unsafe { to.write(Self { covariance }) };
    }
}

impl Content for WaGroundLine {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says; what lies behind the pose is not read.
        unsafe { WaPose::fill(to.cast(), draw) };
    }
}

impl Content for WaPlacedStand {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says; a pose, numbers and truths.
        unsafe {
            WaPose::fill(to.cast(), draw);
            WaPoseCovariance::fill(&raw mut (*to).noise, draw);
            (*to).pivot_mm = [0.0, -150.0, if draw.random.one_in(8) { draw.random.number() } else { 0.0 }];
            ((*to).noise_known, (*to).reserved) = (draw.random.choice(), 0);
        }
    }
}

impl Content for WaAlignment {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says; a tree is a size and numbers.
        unsafe {
            to.write(draw.sound.readings);
            let spoils = if draw.random.one_in(2) { 0 } else { draw.random.below(mem::size_of::<Self>() / 8) };
            for _ in 0..spoils {
                let place = 1 + draw.random.below(mem::size_of::<Self>() / 8 - 1);
                let small = f64::from_bits(draw.random.next() % 3);
                let number = if draw.random.one_in(3) { small } else { draw.random.number() };
                to.cast::<f64>().add(place).write(number);
            }
            Self::size_of_result(to, &mut draw.random);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

/// Vectors of length 1, rotations by rows, matrices, quaternions, lengths: what numbers in a row may stand for.
const ROWS: [&[f64]; 7] = [
    &[0.0, 0.0, 1.0],
    &[0.0, 1.0, 0.0],
    &[1.0, 0.0, 0.0],
    &[1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0],
    &[1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0],
    &[1.0, 0.0, 0.0, 0.0],
    &[300.0, 301.0, 299.0],
];

impl Content for f64 {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let rows = if draw.random.one_in(2) { 3 } else { 2 * ROWS.len() };
        let row = draw.random.below(rows);
        for index in 0..120 {
            let number = match ROWS.get(row) {
                Some(row) if !draw.random.one_in(200) => row[index % row.len()],
                _ => draw.random.number(),
            };
            // SAFETY: within the place.
            unsafe { to.add(index).write(number) };
        }
    }
}

impl Content for WaPose {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let (car, rolled, spoiled) = (draw.random.one_in(2), draw.random.one_in(2), draw.random.one_in(2));
        for index in 0..12 {
            let [a, b, c] = [(); 3].map(|()| (draw.random.next() % 4001) as f64 - 2000.0);
            let mut pose =
                Self { rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [a, b, c] };
            if rolled && !car {
                let angle = f64::from(u32::try_from(index).unwrap()) / 4.0;
                let (sin, cos) = angle.sin_cos();
                pose.rotation = [[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]];
                pose.translation_mm = [310.0 * angle, 760.0, 310.0];
            }
            if car {
                let place = index % 4;
                pose.translation_mm =
                    [if place < 2 { 2600.0 } else { 0.0 }, if place % 2 == 0 { 760.0 } else { -760.0 }, 310.0];
            }
            if spoiled && draw.random.one_in(6) {
                pose.rotation[draw.random.below(3)][draw.random.below(3)] = draw.random.number();
            }
            if spoiled && draw.random.one_in(12) {
                pose.translation_mm[draw.random.below(3)] = draw.random.number();
            }
            // SAFETY: within the place.
            unsafe { to.add(index).write(pose) };
        }
    }
}

impl Content for WaCompensation {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let spoiled = draw.random.one_in(2);
        for index in 0..12 {
            let random = &mut draw.random;
            let mut of = Self {
                spindle_in_target: [0.0, if index % 2 == 0 { 1.0 } else { -1.0 }, 0.0],
                centre_in_target_mm: [0.0, if spoiled && random.one_in(8) { random.number() } else { 90.0 }, 0.0],
                runout_deg: if spoiled && random.one_in(8) { random.number() } else { 1.0 },
                rolling_radius_mm: WaOptional { present: 1, value: 308.0 },
                roll_range_deg: random.number(),
            };
            if spoiled && random.one_in(8) {
                of.rolling_radius_mm = WaOptional { present: random.choice().into(), value: random.number() };
            }
            if spoiled && random.one_in(10) {
                of.spindle_in_target[random.below(3)] = random.number();
            }
            // SAFETY: within the place.
            unsafe { to.add(index).write(of) };
        }
    }
}

impl Content for WaClampCompensation {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says; the wheels of a struct that is zero but for them.
        unsafe {
            WaCompensation::fill(to.cast(), draw);
            let wheels = to.cast::<[WaCompensation; 4]>().read();
            let mut of = mem::zeroed::<Self>();
            of.wheels = wheels;
            of.present = [(); 4].map(|()| i32::from(!draw.random.one_in(6)));
            to.write(of);
            Self::size_of_result(to, &mut draw.random);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Content for usize {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        for index in 0..8 {
            let count = if draw.random.one_in(10) { draw.random.count() } else { draw.random.below(116) };
            // SAFETY: within the place.
            unsafe { to.add(index).write(count.min(if draw.random.one_in(2) { 6 } else { usize::MAX })) };
        }
    }
}

impl Content for c_char {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let random = &mut draw.random;
        let texts = &draw.sound.texts;
        // What is asked for first is a session more often than not, and a path after it.
        let likely = if draw.texts == 0 { 0..4 } else { 6..15 };
        draw.texts += 1;
        let which = match random.below(8) {
            // A car, adjusters, a record or what is required of a stand, and after them adjusters, a specification or again a stand.
            0..3 => [[CAR, ADJUSTING, STANDING, RECORDED], [MOVING, SPECIFYING, STANDING, STANDING]]
                [usize::from(draw.texts > 1)][random.below(4)],
            3..6 => likely.start + random.below(likely.len()),
            _ => random.below(texts.len()),
        };
        let mut text = texts[which].clone().into_bytes();
        if random.one_in(3) && !text.is_empty() {
            for _ in 0..=random.below(3) {
                let at = random.below(text.len());
                match random.below(4) {
                    0 => text[at] = random.next() as u8,
                    1 => text[at] = b"0123456789.-e{}[],:\"n"[random.below(21)],
                    2 => text.truncate(at + 1),
                    _ => drop(text.remove(at)),
                }
                if text.is_empty() {
                    break;
                }
            }
        }
        // SAFETY: the texts are shorter than the place.
        unsafe {
            ptr::copy_nonoverlapping(text.as_ptr(), to.cast(), text.len());
            to.add(text.len()).write(0);
        }
        draw.before = Before::Text(text.len());
    }
}

impl Content for *const c_char {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        for index in 0..8 {
            let text = draw.sound.texts[6 + draw.random.below(9)].clone();
            let place = draw.place();
            // SAFETY: a path is shorter than a place.
            unsafe {
                ptr::copy_nonoverlapping(text.as_ptr(), place, text.len());
                place.add(text.len()).write(0);
                to.add(index).write(if draw.random.one_in(30) { ptr::null() } else { place.cast() });
            }
        }
    }
}

/// The bytes of a file.
impl Content for u8 {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let length = draw.random.below(200);
        for at in 0..length {
            let byte = draw.random.next() as u8;
            // SAFETY: a place of our own, larger than that.
            unsafe { to.add(at).write(byte) };
        }
        draw.before = Before::Text(length);
    }
}

impl Content for i32 {
    unsafe fn fill(_to: *mut Self, _draw: &mut Draw) {}
}

impl Content for u32 {
    unsafe fn fill(_to: *mut Self, _draw: &mut Draw) {}
}

impl Draw {
    /// A pointer within a struct: what it should be, or none, or one that is not aligned.
    fn spoiled<T>(&mut self, pointer: *const T) -> *const T {
        match self.random.below(3) {
            0 => ptr::null(),
            1 => pointer.cast::<u8>().wrapping_add(1 + self.random.below(7)).cast(),
            _ => pointer,
        }
    }

    fn numbers(&mut self) -> *const f64 {
        let place = self.place().cast();
        // SAFETY: a place of our own.
        unsafe { f64::fill(place, self) };
        place
    }
}

impl Content for WaSession {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let which = draw.random.below(draw.sound.sessions.len());
        let sound = draw.sound.sessions[which].0;
        let mut of = sound;
        let spoils = if draw.random.one_in(3) { 0 } else { 1 + draw.random.below(3) };
        for _ in 0..spoils {
            let number = draw.random.number();
            let choice = draw.random.choice();
            match draw.random.below(24) {
                0 => of.up = draw.numbers(),
                1 => of.up = draw.spoiled(of.up),
                2 => of.clamp_standoff_mm[draw.random.below(4)] = number,
                3 => {
                    let place = draw.place().cast();
                    // SAFETY: a place of our own.
                    unsafe { WaCamera::fill(place, draw) };
                    (of.cameras, of.cameras_count) = (place, draw.random.count());
                }
                4 => of.pose_noise = draw.numbers().cast(),
                5 => of.pose_covariance = draw.numbers().cast(),
                6 => of.input_uncertainty = draw.numbers().cast(),
                7 => of.loaded_radius_mm[draw.random.below(2)] = WaOptional { present: choice.into(), value: number },
                8 => of.ride_height_mm = draw.numbers(),
                9 => of.runway_mm = draw.numbers(),
                10 => of.compensation = choice,
                11 => of.rolling_body = choice,
                12 => of.rolling = draw.spoiled(of.rolling),
                13 => {
                    of.rolling_count =
                        if draw.random.one_in(2) { draw.random.below(sound.rolling_count + 1) } else { usize::MAX }
                }
                14 => of.sweep = draw.spoiled(of.sweep),
                15 => {
                    of.sweep_count =
                        if draw.random.one_in(2) { draw.random.below(sound.sweep_count + 1) } else { 10_001 }
                }
                16 => of.sweep_wheels_locked = choice,
                17 => of.sweep_body = choice,
                18 => of.lock_left = draw.spoiled(of.lock_left),
                19 => {
                    of.reference = WaReference {
                        centreline: choice,
                        datum: choice,
                        turn: WaTurn { wheel: choice, angle_deg: number },
                    }
                }
                20 => of.method = choice,
                21 => of.joint = WaJointOptions { robust: choice, rolling_slip_mm: number },
                22 => {
                    let place = draw.place().cast();
                    // SAFETY: a place of our own.
                    unsafe { WaPose::fill(place, draw) };
                    of.ahead.fl.frames = draw.spoiled(place.cast_const());
                    of.ahead.fl.frames_count = draw.random.count();
                }
                _ => of.ahead.rr.covariance = draw.numbers().cast(),
            }
        }
        if draw.random.one_in(8) {
            of.note = draw.read::<c_char>();
        }
        of.size = stated(mem::size_of::<Self>(), &mut draw.random);
        // SAFETY: as the caller says.
        unsafe {
            to.write(of);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Content for WaStation {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let which = draw.random.below(draw.sound.sessions.len());
        let of = draw.sound.sessions[which].0;
        // SAFETY: the session has as many, and the place has room for more.
        unsafe {
            for index in 0..7 {
                let mut station = *of.rolling.add(index % of.rolling_count);
                if draw.random.one_in(12) {
                    station.fr = WaSighting {
                        frames: draw.spoiled(station.fr.frames),
                        frames_count: if draw.random.one_in(2) { station.fr.frames_count } else { usize::MAX },
                        covariance: ptr::null(),
                    };
                }
                to.add(index).write(station);
            }
        }
    }
}

impl Content for WaPlan {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says; a plan of our own.
        unsafe {
            let mut of = mem::zeroed::<Self>();
            of.size = mem::size_of::<Self>();
            assert_eq!(wa_plan_default(&raw mut of), WA_SUCCESS);
            (of.roll_stations, of.sweep_stations) = (3, 0);
            for _ in 0..draw.random.below(4) {
                let number = draw.random.number();
                match draw.random.below(9) {
                    0 => of.frames = draw.random.count(),
                    1 => of.roll_stations = draw.random.count(),
                    2 => of.sweep_stations = draw.random.count(),
                    3 => of.compensation = draw.random.choice(),
                    4 => of.roll_range_deg = number,
                    5 => of.wheelbase_mm = number,
                    6 => of.pose_noise.rotation_deg = number,
                    7 => of.method = draw.random.choice(),
                    _ => of.input_uncertainty.up_deg = number,
                }
            }
            to.write(of);
            Self::size_of_result(to, &mut draw.random);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Content for WaNormalTolerances {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: as the caller says.
        unsafe {
            // Numbers are all it has.
            for index in 0..mem::size_of::<Self>() / 8 {
                to.cast::<f64>().add(index).write(draw.random.number().abs());
            }
            Self::size_of_result(to, &mut draw.random);
            if draw.random.one_in(2) {
                wa_normal_tolerances_default(to);
            }
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Content for WaTrials {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let (probability, seed) = (draw.random.number(), draw.random.next());
        // A run that is allowed takes too long.
        let (significant_digits, most_trials) =
            (draw.random.choice().cast_unsigned(), draw.random.next() as u32 % 100_000);
        // SAFETY: as the caller says.
        unsafe {
            to.write(Self { size: 0, probability, seed, significant_digits, most_trials });
            Self::size_of_result(to, &mut draw.random);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Draw {
    /// Poses of as many cars as a batch may have, as matrices.
    fn matrices(&mut self) -> *const f64 {
        let place = self.place().cast::<[[f64; 4]; 4]>();
        for index in 0..160 {
            let wheel = index % 4;
            let [x, y] = [if wheel < 2 { 2600.0 } else { 0.0 }, if wheel % 2 == 0 { 760.0 } else { -760.0 }];
            let mut pose = [[1.0, 0.0, 0.0, x], [0.0, 1.0, 0.0, y], [0.0, 0.0, 1.0, 310.0], [0.0, 0.0, 0.0, 1.0]];
            match self.random.below(40) {
                0 => pose = [[f64::NAN; 4]; 4],
                1 => pose[self.random.below(4)][self.random.below(4)] = self.random.number(),
                _ => {}
            }
            // SAFETY: within the place.
            unsafe { place.add(index).write(pose) };
        }
        place.cast()
    }
}

/// So many records, for the structs of one call to agree on, more often than not.
const RECORDS: usize = 5;

impl Content for WaAheadRecords {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let each = |draw: &mut Draw| match draw.random.below(8) {
            0 => draw.random.count(),
            1 => RECORDS,
            _ => 1,
        };
        let spindles: *mut [[f64; 3]; 4] = draw.place().cast();
        for index in 0..8 {
            // SAFETY: within the place.
            unsafe {
                spindles.add(index).write([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0], [0.0, 1.0, 0.0], [0.0, -1.0, 0.0]]);
            };
        }
        let poses = draw.matrices();
        let of = Self {
            size: stated(mem::size_of::<Self>(), &mut draw.random),
            count: if draw.random.one_in(12) { draw.random.count() } else { RECORDS },
            poses: if draw.random.one_in(30) { draw.spoiled(poses) } else { poses },
            spindle_in_target: spindles.cast(),
            spindle_in_target_count: each(draw),
            centre_in_target_mm: draw.numbers(),
            centre_in_target_mm_count: each(draw),
            rolling_radius_mm: draw.numbers(),
            rolling_radius_mm_count: each(draw),
            up: draw.numbers(),
            up_count: if draw.random.one_in(9) { draw.random.count() } else { 1 },
            loaded_radius_mm: [WaOptional { present: draw.random.choice().into(), value: 300.0 }; 2],
            centreline: draw.random.choice(),
        };
        let up: *mut [f64; 3] = draw.place().cast();
        // SAFETY: places of our own.
        unsafe {
            for index in 0..8 {
                up.add(index).write([0.0, 0.0, 1.0]);
            }
            to.write(Self { up: if draw.random.one_in(4) { of.up } else { up.cast() }, ..of });
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }
}

impl Content for WaSessionRecords {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let settings = draw.place().cast();
        // SAFETY: a place of our own.
        unsafe { WaSession::fill(settings, draw) };
        let poses = draw.matrices();
        let count = if draw.random.one_in(12) { draw.random.count() } else { RECORDS };
        let lock = |draw: &mut Draw| if draw.random.one_in(2) { poses } else { draw.spoiled(poses) };
        let of = Self {
            size: stated(mem::size_of::<Self>(), &mut draw.random),
            count,
            settings: if draw.random.one_in(20) { draw.spoiled(settings.cast_const()) } else { settings },
            rolling: WaStations { poses, each: draw.random.count() },
            ahead: poses,
            sweep: WaStations { poses, each: draw.random.count() },
            lock_left: lock(draw),
            lock_right: lock(draw),
            up: draw.numbers(),
            up_count: if draw.random.one_in(2) { 0 } else { draw.random.count() },
            clamp_standoff_mm: draw.numbers(),
            clamp_standoff_mm_count: if draw.random.one_in(2) { 0 } else { draw.random.count() },
        };
        // SAFETY: as the caller says.
        unsafe {
            to.write(of);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }
}

impl Content for WaColumns {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        let (readings, values): (*mut usize, *mut *mut f64) = (draw.place().cast(), draw.place().cast());
        // SAFETY: places of our own.
        unsafe {
            for index in 0..8 {
                let reading = if draw.random.one_in(60) { draw.random.count() } else { draw.random.below(115) };
                readings.add(index).write(reading);
                let column: *mut f64 = draw.place().cast();
                values.add(index).write(if draw.random.one_in(60) { ptr::null_mut() } else { column });
            }
            let codes = draw.place();
            to.write(Self {
                size: stated(mem::size_of::<Self>(), &mut draw.random),
                readings,
                readings_count: draw.random.count(),
                values,
                codes: draw.address(codes),
            });
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }
}

/// An argument of a call.
trait Argument {
    fn draw(draw: &mut Draw) -> Self;
}

impl Argument for f64 {
    fn draw(draw: &mut Draw) -> Self {
        draw.before = Before::Nothing;
        match draw.random.below(6) {
            0 => NUMBERS[draw.random.below(NUMBERS.len())],
            1 => 10.0 * draw.random.number(),
            _ => PLAUSIBLE[draw.random.below(PLAUSIBLE.len())],
        }
    }
}

impl Argument for i32 {
    fn draw(draw: &mut Draw) -> Self {
        draw.before = Before::Nothing;
        draw.random.choice()
    }
}

/// None, or one that is at work; a wrong address would be no tracker, and nothing could tell.
impl Argument for *mut WaTracker {
    fn draw(draw: &mut Draw) -> Self {
        draw.before = Before::Nothing;
        if draw.random.one_in(12) { ptr::null_mut() } else { draw.tracker }
    }
}

/// A place for the pointer to a tracker.
impl Content for *mut WaTracker {
    unsafe fn fill(_to: *mut Self, _draw: &mut Draw) {}
}

fn new_tracker(session: &WaSession) -> *mut WaTracker {
    let mut settings = mem::MaybeUninit::<WaLiveSettings>::uninit();
    let mut tracker = ptr::null_mut();
    // SAFETY: structs and places of our own.
    unsafe {
        settings.as_mut_ptr().cast::<usize>().write(mem::size_of::<WaLiveSettings>());
        assert_eq!(wa_live_settings_default(settings.as_mut_ptr()), WA_SUCCESS);
        assert_eq!(wa_tracker_new(session, settings.as_ptr(), &raw mut tracker, ptr::null_mut()), WA_SUCCESS);
    }
    tracker
}

/// A record of texts that are mostly sound, or none: drawn one by one they would hardly ever go together.
fn recording() -> Broken {
    Box::new(|draw| {
        let mut texts = [(ptr::null(), 0_usize); 4];
        for (place, of) in [None, Some(0), Some(1), Some(SPECIFYING)].into_iter().enumerate() {
            texts[place] = match (of, draw.random.below(4)) {
                (None, 0) => (c"{}".as_ptr(), 2),
                (Some(of), 0..2) => (draw.sound.texts[of].as_ptr().cast(), draw.sound.texts[of].len()),
                (_, 2) => (ptr::null(), 0),
                _ => {
                    let text = <*const c_char>::draw(draw);
                    (text, usize::draw(draw))
                }
            };
        }
        let [details, before, after, limits] = texts;
        let (result, capacity) = (<*mut c_char>::draw(draw), usize::draw(draw));
        let (length, error) = (<*mut usize>::draw(draw), <*mut WaError>::draw(draw));
        // SAFETY: texts of our own, or drawn as for any other function.
        unsafe {
            wa_record_to_json(
                details.0, details.1, before.0, before.1, after.0, after.1, limits.0, limits.1, result, capacity,
                length, error,
            )
        }
    })
}

/// Gives back a tracker of its own.
fn free() -> Broken {
    Box::new(|draw| {
        let tracker = if draw.random.one_in(2) { new_tracker(&draw.sound.sessions[0].0) } else { ptr::null_mut() };
        let error = <*mut WaError>::draw(draw);
        // SAFETY: it is one of our own; an error is null, not aligned or a place of our own.
        let status = unsafe { wa_tracker_free(tracker, error) };
        if status != WA_SUCCESS && !tracker.is_null() {
            // SAFETY: it was refused for its error.
            unsafe { wa_tracker_free(tracker, ptr::null_mut()) };
        }
        status
    })
}

impl Content for WaLiveSettings {
    unsafe fn fill(to: *mut Self, draw: &mut Draw) {
        // SAFETY: a place of our own.
        unsafe {
            to.cast::<usize>().write(mem::size_of::<Self>());
            assert_eq!(wa_live_settings_default(to), WA_SUCCESS);
            if draw.random.one_in(3) {
                to.cast::<f64>().add(1 + draw.random.below(6)).write(draw.random.number());
            }
            Self::size_of_result(to, &mut draw.random);
            behind(to.cast(), mem::size_of::<Self>(), &mut draw.random);
        }
    }

    unsafe fn size_of_result(to: *mut Self, random: &mut Random) {
        // SAFETY: as the caller says.
        unsafe { to.cast::<usize>().write(stated(mem::size_of::<Self>(), random)) };
    }
}

impl Argument for u32 {
    fn draw(draw: &mut Draw) -> Self {
        draw.random.choice().cast_unsigned()
    }
}

impl Argument for u64 {
    fn draw(draw: &mut Draw) -> Self {
        draw.random.next()
    }
}

impl Argument for usize {
    fn draw(draw: &mut Draw) -> Self {
        let before = mem::replace(&mut draw.before, Before::Nothing);
        match before {
            // Where there may be none.
            Before::Numbers if draw.random.one_in(4) => 0,
            Before::Numbers if draw.random.one_in(3) => wa_reading_count(),
            // As many as there are adjusters.
            Before::Numbers if draw.random.one_in(3) => 2,
            Before::Nothing | Before::Numbers => draw.random.count(),
            Before::Text(_) if draw.random.one_in(12) => usize::MAX - draw.random.below(3),
            Before::Text(length) if draw.random.one_in(12) => draw.random.below(length + 1),
            Before::Text(length) => length,
            Before::Room(room) if draw.random.one_in(8) => draw.random.below(room + 1),
            Before::Room(room) => room,
        }
    }
}

impl<T: Content + 'static> Argument for *const T {
    fn draw(draw: &mut Draw) -> Self {
        let of = std::any::TypeId::of::<T>();
        let is_text = of == std::any::TypeId::of::<c_char>() || of == std::any::TypeId::of::<u8>();
        let place = draw.place();
        // SAFETY: a place of our own.
        unsafe { T::fill(place.cast(), draw) };
        if !is_text {
            let numbers = std::any::TypeId::of::<T>() == std::any::TypeId::of::<f64>();
            draw.before = if numbers { Before::Numbers } else { Before::Nothing };
        }
        // Bytes are aligned anywhere: another address would be a longer text than there is.
        if is_text && !draw.random.one_in(30) {
            place.cast()
        } else if is_text {
            ptr::null()
        } else {
            draw.address(place)
        }
    }
}

impl<T: Content + 'static> Argument for *mut T {
    fn draw(draw: &mut Draw) -> Self {
        let of = std::any::TypeId::of::<T>();
        let spared = of == std::any::TypeId::of::<WaError>() || of == std::any::TypeId::of::<usize>();
        if of == std::any::TypeId::of::<WaError>() && draw.random.one_in(3) {
            return ptr::null_mut();
        }
        let pointer = draw.write::<T>(spared);
        // Bytes are aligned anywhere.
        if of == std::any::TypeId::of::<c_char>() && !pointer.is_null() {
            return draw.results[draw.results.len() - 1].0.cast();
        }
        pointer
    }
}

/// Draws the arguments of a function, and calls it.
type Broken = Box<dyn Fn(&mut Draw) -> i32>;

/// Two adjusters, one measured and one of geometry.
/// Of which a car can be moved.
const RIGID: &str = r#"[
    {"name": "left", "unit": "turn", "effect": {"wheels": {"fl": true, "fr": false, "rl": false, "rr": false},
        "line": null, "turn_deg": 0.86}, "least": -10, "most": 10},
    {"name": "right", "unit": "turn", "effect": {"wheels": {"fl": false, "fr": true, "rl": false, "rr": false},
        "line": null, "turn_deg": 0.86}, "least": -10, "most": 10}
]"#;

const STAND: &str = r#"{"format": "alignment-stand/1", "line": "thrust_line", "reference": {"point_mm": [2600, 0, 0]},
    "required": {"yaw_deg": {"nominal": 0, "minus": 0.2, "plus": 0.2}, "distance_mm": {"nominal": 1500, "minus": 5, "plus": 5}}}"#;

const ADJUSTERS: &str = r#"[
    {"name": "shims", "unit": "mm", "effect": {"wheels.fl.camber_deg": 0.25}, "least": -3, "most": 6, "step": 0.5},
    {"name": "tie rod", "unit": "turn", "effect": {"wheels": {"fl": false, "fr": true, "rl": false, "rr": false},
        "line": null, "turn_deg": 0.86}, "least": -10, "most": 10}
]"#;

macro_rules! calls {
    ($($name:ident($($argument:ident),*);)*) => {$(
        fn $name<$($argument: Argument + 'static),*>(function: unsafe extern "C" fn($($argument),*) -> i32) -> Broken {
            Box::new(move |draw| {
                // SAFETY: every pointer is null, not aligned, or points to a place larger than what is said of it.
                unsafe { function($($argument::draw(draw)),*) }
            })
        }
    )*};
}

calls! {
    c1(A);
    c2(A, B);
    c3(A, B, C);
    c4(A, B, C, D);
    c5(A, B, C, D, E);
    c6(A, B, C, D, E, F);
    c7(A, B, C, D, E, F, G);
    c8(A, B, C, D, E, F, G, H);
    c9(A, B, C, D, E, F, G, H, I);
    c10(A, B, C, D, E, F, G, H, I, J);
    c11(A, B, C, D, E, F, G, H, I, J, K);
}

macro_rules! functions {
    ($($arity:ident: $($name:ident),*;)*) => {
        vec![$($((stringify!($name), $arity($name))),*),*]
    };
}

fn functions() -> Vec<(&'static str, Broken)> {
    let mut all = functions! {
        c1: wa_live_settings_default, wa_normal_tolerances_default, wa_plan_default, wa_session_default, wa_trials_default;
        c2: wa_tracker_lifted, wa_tracker_lowered;
        c3: wa_record_from_json, wa_tracker_adjust, wa_tracker_lift, wa_tracker_readings, wa_tracker_steer, wa_angle_from_side_slip_deg, wa_batch_ahead_readings, wa_camber_deg, wa_caster_deg, wa_clamp_compensation_all_wheels,
            wa_deg_from_degrees_minutes, wa_deg_from_rad, wa_degrees_minutes_from_deg, wa_measure, wa_pose_from_matrix4_column_major,
            wa_pose_from_matrix4_row_major, wa_pose_rig_from_target, wa_propagate, wa_rad_from_deg, wa_reading_position,
            wa_side_slip_mm_per_m, wa_size_from_code, wa_up_in_rig;
        c4: wa_flags_by_basis_of, wa_tracker_compensate, wa_tracker_new, wa_alignment_from_values, wa_alignment_get, wa_alignment_values, wa_assessment_schema_json, wa_axes_direction,
            wa_axis_from_cambers, wa_axis_from_pitches, wa_batch_measure, wa_coverage_factor, wa_dog_tracking_offset_mm,
            wa_effective_degrees_of_freedom, wa_input_from_observations, wa_input_known, wa_measure_session_json,
            wa_measurement_schema_json, wa_numerical_tolerance, wa_output_expanded, wa_plane_through, wa_pose_from_left_handed_y_right,
            wa_pose_from_left_handed_y_up, wa_pose_from_quaternion_wxyz, wa_pose_from_right_handed_y_up,
            wa_pose_from_rotation_vector_rad, wa_pose_from_z_down, wa_pose_mean, wa_repeatability, wa_sai_deg, wa_record_schema_json, wa_session_schema_json,
            wa_specification_schema_json, wa_stand_requirements_schema_json, wa_stand_assessment_schema_json, wa_placed_stand_from_rig,
            wa_ground_line_readings, wa_thrust_angle_deg, wa_toe_deg, wa_toe_from_length_deg, wa_toe_length_mm,
            wa_tolerance_limits, wa_turning_radius_mm, wa_eccentric_angles_deg, wa_eccentric_shift_mm, wa_tapered_shim_changes;
        c5: wa_placed_stand_from_target, wa_stand_moved, wa_ackermann_inner_deg, wa_ackermann_outer_deg, wa_axis_direction, wa_axis_to_body, wa_contact_centre_mm,
            wa_hub_line_azimuth_deg, wa_plan_json, wa_pose_mean_and_spread, wa_reach, wa_session_to_json, wa_toe_to_thrust_line_deg,
            wa_uncertainty_covariance_matrix, wa_uncertainty_expanded_tree, wa_virtual_vehicle_random_json, wa_yaw_from_plate_deg, wa_slot_shift_mm, wa_slot_tilt_deg, wa_tapered_shim, wa_tie_rod_steer_deg, wa_tie_rod_turns;
        c6: wa_attachment_matches, wa_record_to_html, wa_record_to_markdown, wa_stand_moves, wa_stand_requirements_to_json, wa_tracker_frame, wa_ackermann_percent_by_cotangents, wa_ackermann_percent_by_toe_out, wa_body_attitude_deg, wa_camber_at_yaw_deg,
            wa_caster_by_linear_rule_deg, wa_caster_by_two_positions_deg, wa_follow_json, wa_from_spinning, wa_measure_json,
            wa_pitch_at_azimuth_deg, wa_sai_by_linear_rule_deg, wa_sai_by_two_positions_deg, wa_specification_to_json,
            wa_uncertainty_correlation, wa_uncertainty_covariance, wa_uncertainty_expanded, wa_virtual_vehicle_session_json,
            wa_virtual_vehicle_truth_json, wa_shim_thicknesses_mm;
        c7: wa_ahead_readings, wa_judge, wa_one_way_json, wa_uncertainty_budget_by_pose_json, wa_uncertainty_budget_json, wa_subframe_shift, wa_toe_changes_deg;
        c8: wa_attachment_of_json, wa_ground_line_from_ahead, wa_ground_line_from_live, wa_stand_assess, wa_assess_json, wa_from_rolling, wa_global_risks, wa_wheel_from_spinning, wa_effects_json, wa_foresee, wa_tapered_shim_on_shelf;
        c9: wa_combine, wa_judge_all_json, wa_monte_carlo_json, wa_wheel_from_rolling;
        c10: wa_crossed_json, wa_diagnose_json, wa_virtual_vehicle_adjusted_json;
        c11: wa_fewest_moves_json, wa_stand_assess_json, wa_stand_setup_of_json;
    };
    all.push(("wa_record_to_json", recording()));
    all.push(("wa_tracker_free", free()));
    all
}

/// What cannot refuse.
const NEVER_REFUSE: [&str; 7] = [
    "wa_abi_version",
    "wa_is_present",
    "wa_reading_count",
    "wa_reading_path",
    "wa_reading_unit",
    "wa_status_name",
    "wa_version",
];

#[test]
fn broken_calls_are_refused() {
    let cases: u64 = env::var("ABI_CASES").map_or(20_000, |cases| cases.parse().expect("ABI_CASES is a number"));
    let functions = functions();
    let mut draw = Draw::new();
    let mut succeeded = vec![0_u64; functions.len()];
    let mut called = succeeded.clone();
    for case in 0..cases {
        draw.begin(case);
        let which = draw.random.below(functions.len());
        let (name, function) = &functions[which];
        let status = function(&mut draw);
        draw.check(name, case, status);
        called[which] += 1;
        succeeded[which] += u64::from(status == WA_SUCCESS);
    }
    let all: u64 = succeeded.iter().sum();
    println!("{cases} calls, of which {all} succeeded");
    let mut one_sided = Vec::new();
    for ((name, _), (&succeeded, &called)) in functions.iter().zip(succeeded.iter().zip(&called)) {
        println!("{name}: {called} calls, of which {succeeded} succeeded");
        // Trials take too long to succeed here.
        if called >= 5000 && (succeeded == 0 && *name != "wa_monte_carlo_json" || succeeded == called) {
            one_sided.push(*name);
        }
    }
    assert!(all > cases / 10 && all < cases, "nearly all is refused, or nothing");
    assert!(one_sided.is_empty(), "all is refused, or nothing, so nothing is tested: {one_sided:?}");
}

#[test]
fn every_function_is_called() {
    let interface = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/abi.txt")).unwrap();
    let lines = interface.lines().filter_map(|line| line.strip_prefix("function ")?.split(' ').next());
    let there: BTreeSet<&str> = lines.collect();
    let called: BTreeSet<&str> = functions().iter().map(|(name, _)| *name).chain(NEVER_REFUSE).collect();
    assert_eq!(called, there);
    for number in [i32::MIN, -1, 0, 1, i32::MAX] {
        assert!(!wa_status_name(number).is_null());
        let position = usize::try_from(number).unwrap_or(usize::MAX);
        assert_eq!(wa_reading_path(position).is_null(), position >= wa_reading_count());
        assert_eq!(wa_reading_unit(position).is_null(), position >= wa_reading_count());
        let present = [u64::MAX; 2];
        // SAFETY: two words of our own; one address is not aligned, and refused.
        unsafe {
            assert_eq!(wa_is_present(present.as_ptr().byte_add(1), position), 0);
            assert_eq!(wa_is_present(present.as_ptr(), position), i32::from(position < wa_reading_count()));
        }
    }
}

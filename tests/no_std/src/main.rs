//! Measures a car without the standard library: an allocator that never frees, a C `main`, and an exit code for an answer.

#![no_std]
#![no_main]

use alignment_core::session::{Centreline, Sighting};
use alignment_core::{ByAxle, ByWheel, Error, Pose, Session, Station, Wheel, compensation, measure, vehicle};
use core::alloc::{GlobalAlloc, Layout};
use core::hint::black_box;
use core::sync::atomic::{AtomicUsize, Ordering};

// The C library gives memcpy and its kin, and calls main.
#[link(name = "c")]
unsafe extern "C" {
    fn abort() -> !;
}

/// Hands out memory from one block, upward, and takes none back.
struct Bump {
    used: AtomicUsize,
}

const BLOCK: usize = 1 << 20;

#[repr(align(16))]
struct Block(core::cell::UnsafeCell<[u8; BLOCK]>);

// SAFETY: its bytes are reached through `Bump` alone, which hands out each of them once.
unsafe impl Sync for Block {}

static MEMORY: Block = Block(core::cell::UnsafeCell::new([0; BLOCK]));

// SAFETY: every allocation is a range of its own inside the block, aligned as asked.
unsafe impl GlobalAlloc for Bump {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // Room for the greatest shift that alignment can ask for.
        let start = self.used.fetch_add(layout.size() + layout.align(), Ordering::Relaxed);
        if start + layout.size() + layout.align() > BLOCK {
            return core::ptr::null_mut();
        }
        let base = MEMORY.0.get().cast::<u8>().wrapping_add(start);
        base.wrapping_add(base.align_offset(layout.align()))
    }

    unsafe fn dealloc(&self, _: *mut u8, _: Layout) {}
}

#[global_allocator]
static ALLOCATOR: Bump = Bump { used: AtomicUsize::new(0) };

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: it takes nothing and does not return.
    unsafe { abort() }
}

/// The precompiled `core` names it, and nothing calls it: panics end the program.
#[unsafe(no_mangle)]
extern "C" fn rust_eh_personality() {}

const WHEELBASE_MM: f64 = 2600.0;
const TRACK_MM: f64 = 1500.0;
const RADIUS_MM: f64 = 300.0;

/// A wheel without toe, its target true on the spindle, that leans outward by the rotation vector's angle and has rolled on a level road.
fn wheel(wheel: Wheel, camber_rad: f64, roll_rad: f64) -> Result<Sighting, Error> {
    let side = wheel.side().sign();
    let x = if wheel == wheel.side().front_wheel() { WHEELBASE_MM } else { 0.0 };
    // The lean about x turns y to the spindle; the roll, forward, turns about y.
    let lean = Pose::from_rotation_vector_rad([-side * camber_rad, 0.0, 0.0], [0.0; 3])?.rotation;
    let spindle = lean.map(|row| row[1]);
    let translation_mm = [x + RADIUS_MM * roll_rad, side * TRACK_MM / 2.0, RADIUS_MM];
    Pose::from_rotation_vector_rad(spindle.map(|v| v * roll_rad), translation_mm).map(Sighting::Pose)
}

fn station(camber_rad: f64, roll_rad: f64) -> Result<Station, Error> {
    ByWheel::try_from_fn(|name| wheel(name, camber_rad, roll_rad))
}

/// Whether both ways of measuring give back the car: camber, wheelbase and track.
fn car_is_read_back(camber_deg: f64) -> Result<bool, Error> {
    let camber_rad = alignment_core::units::rad_from_deg(camber_deg);
    let session = Session {
        up: Some([0.0, 0.0, 1.0]),
        rolling: [-0.4, 0.0, 0.4].into_iter().map(|roll| station(camber_rad, roll)).collect::<Result<_, _>>()?,
        ahead: station(camber_rad, 0.0)?,
        ..Session::default()
    };
    let near = |value: Option<f64>, expected: f64| value.is_some_and(|value| (value - expected).abs() < 1e-9);
    let whole = measure(black_box(&session))?.alignment;

    let radii = ByAxle::default();
    let standoff = &session.clamp_standoff_mm;
    let rolled = compensation::from_rolling(&session.rolling, [0.0, 0.0, 1.0], standoff, &radii, session.rolling_body)?
        .all_wheels()?;
    let poses = ByWheel::try_from_fn(|name| Pose::mean(session.ahead.get(name).frames()))?;
    let ahead =
        vehicle::ahead_readings(black_box(&rolled), &poses, [0.0, 0.0, 1.0], &radii, Centreline::AxleMidpoints)?;

    let trees = [(whole.wheels, whole.axles, whole.chassis), (ahead.wheels, ahead.axles, ahead.chassis)];
    Ok(trees.iter().all(|(wheels, axles, chassis)| {
        Wheel::ALL.iter().all(|&name| near(wheels.get(name).camber_deg, camber_deg))
            && near(axles.front.track_mm, TRACK_MM)
            && near(chassis.wheelbase_left_mm, WHEELBASE_MM)
    }))
}

/// 0 when the car is read back, 1 when it is not, 2 when it is refused. One argument more leans the wheels by one degree more, so that
/// the answer is not known before the program runs.
#[unsafe(no_mangle)]
extern "C" fn main(arguments: i32, _: *const *const u8) -> i32 {
    match car_is_read_back(-0.5 + f64::from(arguments)) {
        Ok(true) => 0,
        Ok(false) => 1,
        Err(_) => 2,
    }
}

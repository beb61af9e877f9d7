//! Records side by side: each has the bits, or the error, that it has by itself.

use alignment_core::batch::{self, AheadRecords, Columns, Poses4, SessionRecords, Stations, poses_of};
use alignment_core::paths::{COUNT, READINGS, position};
use alignment_core::session::{ByAxle, ByWheel, Centreline, Reference, RollingBody, SweepBody, Turn, Wheel};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, ErrorCode, Pose, Session, compensation, measure, vehicle};

/// Cars that stand straight ahead, one record each.
#[derive(Default)]
struct Cars {
    poses: Vec<Poses4>,
    spindle_in_target: Vec<[[f64; 3]; 4]>,
    centre_in_target_mm: Vec<[[f64; 3]; 4]>,
    rolling_radius_mm: Vec<[f64; 4]>,
    up: Vec<[f64; 3]>,
}

impl Cars {
    fn random(count: u64) -> Self {
        let mut cars = Self::default();
        for seed in 0..count {
            let session = VirtualVehicle::random(seed).session();
            let (up, radii) = (session.up.unwrap(), ByAxle::default());
            let body = RollingBody::Translates;
            let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &radii, body);
            let clamps = Wheel::ALL.map(|wheel| *rolled.as_ref().unwrap().all_wheels().unwrap().get(wheel));
            cars.poses.push(poses_of(&session.ahead));
            cars.spindle_in_target.push(clamps.map(|clamp| clamp.spindle_in_target));
            cars.centre_in_target_mm.push(clamps.map(|clamp| clamp.centre_in_target_mm));
            cars.rolling_radius_mm.push(clamps.map(|clamp| clamp.rolling_radius_mm.unwrap()));
            cars.up.push(up);
        }
        cars
    }

    fn records(&self) -> AheadRecords<'_> {
        AheadRecords {
            poses: &self.poses,
            spindle_in_target: &self.spindle_in_target,
            centre_in_target_mm: &self.centre_in_target_mm,
            rolling_radius_mm: &self.rolling_radius_mm,
            up: &self.up,
            loaded_radius_mm: ByAxle::default(),
            centreline: Centreline::AxleMidpoints,
        }
    }
}

/// Every reading of the records, and their codes.
fn compute(records: &AheadRecords<'_>) -> (Vec<Vec<f64>>, Vec<i32>) {
    let count = records.poses.len();
    let (mut values, mut codes) = (vec![vec![0.0; count]; COUNT], vec![7; count]);
    let readings: Vec<usize> = (0..COUNT).collect();
    let mut columns: Vec<&mut [f64]> = values.iter_mut().map(Vec::as_mut_slice).collect();
    let mut into = Columns { readings: &readings, values: &mut columns, codes: &mut codes };
    batch::ahead_readings(records, &mut into).unwrap();
    (values, codes)
}

fn bits(value: Option<f64>) -> Option<u64> {
    value.filter(|value| !value.is_nan()).map(f64::to_bits)
}

fn assert_same(values: &[Vec<f64>], record: usize, expected: &Alignment) {
    for (index, expected) in expected.values().into_iter().enumerate() {
        assert_eq!(bits(Some(values[index][record])), bits(expected), "{record}: {}", READINGS[index]);
    }
}

/// The reading by the function for one car, with the clamps written out anew.
fn alone(records: &AheadRecords<'_>, record: usize) -> Result<Alignment, ErrorCode> {
    let of = |each: &[[[f64; 3]; 4]], i: usize| each[record.min(each.len() - 1)][i];
    let clamps = ByWheel::from_fn(|wheel| {
        let i = wheel as usize;
        let radius = records.rolling_radius_mm[record.min(records.rolling_radius_mm.len() - 1)][i];
        let spindle = of(records.spindle_in_target, i);
        let largest = spindle.iter().fold(0.0, |most: f64, part| most.max(part.abs()));
        compensation::Compensation {
            spindle_in_target: spindle,
            centre_in_target_mm: of(records.centre_in_target_mm, i),
            runout_deg: largest.acos().to_degrees(),
            rolling_radius_mm: (!radius.is_nan()).then_some(radius),
            roll_range_deg: 0.0,
        }
    });
    let matrices = records.poses[record];
    let poses =
        ByWheel::try_from_fn(|wheel| Pose::from_matrix4(matrices[wheel as usize])).map_err(|error| error.code)?;
    let up = records.up[record.min(records.up.len() - 1)];
    let now = vehicle::ahead_readings(&clamps, &poses, up, &records.loaded_radius_mm, records.centreline)
        .map_err(|error| error.code)?;
    let mut tree = Alignment { wheels: now.wheels, axles: now.axles, chassis: now.chassis, ..Alignment::default() };
    let toe = |wheel: Wheel| now.wheels.get(wheel).toe_deg.unwrap();
    tree.steering.ahead_error_deg = Some((toe(Wheel::Fr) - toe(Wheel::Fl)) / 2.0);
    Ok(tree)
}

/// But for the runout, which the test finds by a poorer formula.
fn assert_as_alone(records: &AheadRecords<'_>) {
    let (values, codes) = compute(records);
    for record in 0..records.poses.len() {
        match alone(records, record) {
            Ok(mut tree) => {
                for wheel in Wheel::ALL {
                    let index = position(&format!("wheels.{}.runout_deg", wheel.name())).unwrap();
                    let runout = values[index][record];
                    assert!((tree.wheels.get(wheel).runout_deg.unwrap() - runout).abs() < 1e-5);
                    tree.wheels.get_mut(wheel).runout_deg = Some(runout);
                }
                assert_eq!(codes[record], 0, "{record}");
                assert_same(&values, record, &tree);
            }
            Err(code) => {
                assert_eq!(codes[record], code.number(), "{record}");
                assert!(values.iter().all(|column| column[record].is_nan()), "{record}");
            }
        }
    }
}

#[test]
fn a_record_has_the_bits_that_it_has_by_itself() {
    let cars = Cars::random(203); // no whole number of registers
    assert_as_alone(&cars.records());
    let bisector = AheadRecords { centreline: Centreline::SideLineBisector, ..cars.records() };
    assert_as_alone(&bisector);
    let loaded = ByAxle { front: Some(300.0), rear: None };
    assert_as_alone(&AheadRecords { loaded_radius_mm: loaded, ..cars.records() });
    for count in 0..20 {
        assert_as_alone(&cars.records().part(0..count).unwrap());
    }
}

/// Spoils one record.
type Damage<'a> = &'a dyn Fn(&mut Cars, usize);

/// Damage of every kind, at every lane of a register.
#[test]
fn what_is_refused_keeps_its_place_and_its_neighbours_their_bits() {
    let damages: [Damage<'_>; 14] = [
        &|cars, i| cars.poses[i][1][0][0] = f64::NAN,
        &|cars, i| cars.poses[i][2] = [[f64::NAN; 4]; 4],
        &|cars, i| cars.poses[i][0][3][3] = 2.0,
        &|cars, i| cars.poses[i][3][3][1] = f64::NAN,
        &|cars, i| cars.poses[i][0][0][3] = 1e7,
        &|cars, i| cars.poses[i][1].iter_mut().take(3).for_each(|row| row[1] = -row[1]),
        &|cars, i| cars.poses[i][0][1][1] += 1e-3,
        &|cars, i| cars.poses[i][0][1][1] += 1e-9, // mended
        &|cars, i| cars.poses[i].swap(0, 1),
        &|cars, i| cars.poses[i].swap(0, 2),
        &|cars, i| cars.up[i] = [0.0, 0.0, 2.0],
        &|cars, i| cars.spindle_in_target[i][2] = [1.0, 1.0, 0.0],
        &|cars, i| cars.rolling_radius_mm[i][3] = 5.0,
        &|cars, i| cars.rolling_radius_mm[i][3] = f64::NAN, // there is none
    ];
    for damage in damages {
        for at in 0..17 {
            let mut cars = Cars::random(17);
            damage(&mut cars, at);
            assert_as_alone(&cars.records());
        }
    }
}

/// Wheels beyond what lanes can do: those are computed one by one.
#[test]
fn a_wheel_turned_far_is_a_record_like_any_other() {
    let mut cars = Cars::random(16);
    for (record, poses) in cars.poses.iter_mut().enumerate() {
        let (sin, cos) = (f64::from(u8::try_from(record).unwrap()) * 3.0).to_radians().sin_cos();
        for pose in poses.iter_mut().take(2) {
            let [x, y, z, last] = *pose;
            let turned = |a: [f64; 4], b: [f64; 4], s: f64| {
                std::array::from_fn(|k| if k == 3 { a[3] } else { a[k] * cos + s * b[k] * sin })
            };
            *pose = [turned(x, y, -1.0), turned(y, x, 1.0), z, last];
        }
    }
    assert_as_alone(&cars.records());
}

#[test]
fn one_compensation_may_hold_for_all() {
    let cars = Cars::random(19);
    let poses: Vec<Poses4> = (0..19).map(|_| cars.poses[0]).collect();
    let whole = cars.records();
    let records = AheadRecords {
        poses: &poses,
        spindle_in_target: &whole.spindle_in_target[..1],
        centre_in_target_mm: &whole.centre_in_target_mm[..1],
        rolling_radius_mm: &whole.rolling_radius_mm[..1],
        up: &whole.up[..1],
        ..whole
    };
    assert_as_alone(&records);
    assert_eq!(records.one(18), records.one(0));
    assert_eq!(records.one(19).unwrap_err().code, ErrorCode::Contradiction);
}

#[test]
fn what_does_not_fit_together_is_refused_by_its_name() {
    let cars = Cars::random(9);
    let input = |records: &AheadRecords<'_>, readings: &[usize], columns: usize, codes: usize| {
        let (mut values, mut codes) = (vec![vec![0.0; 9]; columns], vec![0; codes]);
        let mut columns: Vec<&mut [f64]> = values.iter_mut().map(Vec::as_mut_slice).collect();
        let mut into = Columns { readings, values: &mut columns, codes: &mut codes };
        let error = batch::ahead_readings(records, &mut into).unwrap_err();
        (error.code, error.input)
    };
    let whole = cars.records();
    let contradiction = ErrorCode::Contradiction;
    assert_eq!(input(&AheadRecords { up: &cars.up[..2], ..whole }, &[0], 1, 9), (contradiction, Some("up")));
    assert_eq!(input(&AheadRecords { up: &[], ..whole }, &[0], 1, 9), (contradiction, Some("up")));
    assert_eq!(input(&whole, &[0], 1, 8), (contradiction, Some("columns")));
    assert_eq!(input(&whole, &[0], 2, 9), (contradiction, Some("readings")));
    assert_eq!(input(&whole, &[COUNT], 1, 9).0, ErrorCode::UnknownReading);
    let radius = ByAxle { front: Some(1.0), rear: None };
    let lone = AheadRecords { loaded_radius_mm: radius, ..whole };
    assert_eq!(input(&lone, &[0], 1, 9), (ErrorCode::LengthOutOfRange, Some("loaded_radius_mm.front")));
    assert_eq!(whole.part(3..10).unwrap_err().code, contradiction);
    for lacking in [
        AheadRecords { up: &[], ..whole },
        AheadRecords { spindle_in_target: &[], ..whole },
        AheadRecords { rolling_radius_mm: &cars.rolling_radius_mm[..2], ..whole },
    ] {
        assert_eq!(lacking.one(8).unwrap_err().code, contradiction);
    }
    assert_eq!(whole.one(usize::MAX).unwrap_err().code, contradiction);
}

/// Sessions of as many stations each, as one array of poses for each stage.
struct Sessions {
    sessions: Vec<Session>,
    rolling: Vec<Poses4>,
    ahead: Vec<Poses4>,
    sweep: Vec<Poses4>,
    lock_left: Vec<Poses4>,
    lock_right: Vec<Poses4>,
    up: Vec<[f64; 3]>,
    clamp_standoff_mm: Vec<[f64; 4]>,
}

impl Sessions {
    fn random(seeds: std::ops::Range<u64>) -> Self {
        let sessions: Vec<Session> = seeds.map(|seed| VirtualVehicle::random(seed).session()).collect();
        let (mut rolling, mut sweep) = (Vec::new(), Vec::new());
        for session in &sessions {
            rolling.extend(session.rolling.iter().map(poses_of));
            sweep.extend(session.sweep.iter().map(poses_of));
        }
        Self {
            ahead: sessions.iter().map(|session| poses_of(&session.ahead)).collect(),
            lock_left: sessions.iter().map(|session| poses_of(session.lock_left.as_ref().unwrap())).collect(),
            lock_right: sessions.iter().map(|session| poses_of(session.lock_right.as_ref().unwrap())).collect(),
            up: sessions.iter().map(|session| session.up.unwrap()).collect(),
            clamp_standoff_mm: sessions
                .iter()
                .map(|session| Wheel::ALL.map(|wheel| *session.clamp_standoff_mm.get(wheel)))
                .collect(),
            sessions,
            rolling,
            sweep,
        }
    }

    fn records<'a>(&'a self, settings: &'a Session) -> SessionRecords<'a> {
        let each = |poses: &[Poses4]| poses.len() / self.sessions.len();
        SessionRecords {
            settings,
            rolling: Stations { poses: &self.rolling, each: each(&self.rolling) },
            ahead: &self.ahead,
            sweep: Stations { poses: &self.sweep, each: each(&self.sweep) },
            lock_left: &self.lock_left,
            lock_right: &self.lock_right,
            up: &self.up,
            clamp_standoff_mm: &self.clamp_standoff_mm,
        }
    }
}

/// Says how many of the records are refused, and in how many something is weak.
fn assert_sessions_as_alone(records: &SessionRecords<'_>) -> (usize, usize) {
    let count = records.ahead.len();
    let (mut values, mut codes, mut warnings) = (vec![vec![0.0; count]; COUNT], vec![7; count], vec![7; count]);
    let readings: Vec<usize> = (0..COUNT).collect();
    let mut columns: Vec<&mut [f64]> = values.iter_mut().map(Vec::as_mut_slice).collect();
    let mut into = Columns { readings: &readings, values: &mut columns, codes: &mut codes };
    batch::measure(records, &mut into, &mut warnings).unwrap();
    let (mut refused, mut weak) = (0, 0);
    for record in 0..count {
        match records.one(record).and_then(|session| measure(&session)) {
            Ok(result) => {
                assert_eq!(codes[record], 0, "{record}");
                assert_same(&values, record, &result.alignment);
                let bits = result.warnings.iter().fold(0, |bits, warning| bits | 1 << (warning.code.number() - 1));
                assert_eq!(warnings[record], bits, "{record}");
                weak += usize::from(bits != 0);
            }
            Err(error) => {
                assert_eq!((codes[record], warnings[record]), (error.code.number(), 0), "{record}");
                assert!(values.iter().all(|column| column[record].is_nan()), "{record}");
                refused += 1;
            }
        }
    }
    (refused, weak)
}

#[test]
fn sessions_have_the_bits_and_the_warnings_that_each_has_by_itself() {
    let mut sessions = Sessions::random(0..40);
    // One record with a wheel that was not seen, one that is refused.
    sessions.sweep[3][2] = [[f64::NAN; 4]; 4];
    sessions.rolling[5][1][0][0] = f64::INFINITY;
    let settings = sessions.sessions[0].clone();
    let (refused, weak) = assert_sessions_as_alone(&sessions.records(&settings));
    assert!(refused == 1 && weak > 0);
}

/// Turns a pose about the rig's z axis.
fn turn(pose: &mut [[f64; 4]; 4], angle_rad: f64) {
    let (sin, cos) = angle_rad.sin_cos();
    let [along, left, ..] = pose;
    for (x, y) in along.iter_mut().zip(left).take(3) {
        (*x, *y) = (cos * *x - sin * *y, sin * *x + cos * *y);
    }
}

/// Stations in any order, slips of every size, wheels and axles named wrongly, stations that do not turn, at every lane of a register;
/// and whatever a session may say of all.
#[test]
fn a_session_in_doubt_has_its_own_bits_and_leaves_its_neighbours_theirs() {
    const COUNT: usize = 83; // no whole number of registers
    let mut sessions = Sessions::random(100..100 + COUNT as u64);
    let (rolled, swept) = (sessions.rolling.len() / COUNT, sessions.sweep.len() / COUNT);
    for record in (0..COUNT).step_by(2) {
        let rolling = &mut sessions.rolling[record * rolled..(record + 1) * rolled];
        let sweep = &mut sessions.sweep[record * swept..(record + 1) * swept];
        let ahead = &mut sessions.ahead[record];
        let size = 10.0_f64.powi(-((record / 30) as i32) - 2);
        match record / 2 % 15 {
            0 => rolling.reverse(),
            1 => sweep.reverse(),
            2 => rolling.swap(0, 2),
            3 => turn(&mut rolling[1][record % 4], size),
            4 => turn(&mut sweep[2][record % 4], size),
            5 => turn(&mut ahead[record / 2 % 4], size),
            6 => sweep.iter_mut().for_each(|station| turn(&mut station[record / 2 % 4], size)),
            7 => ahead.swap(0, 1),
            8 => rolling.iter_mut().chain(&mut *sweep).chain([ahead]).for_each(|station| station.swap(0, 1)),
            9 => rolling.iter_mut().chain(&mut *sweep).chain([ahead]).for_each(|station| station.reverse()),
            10 => rolling.fill(rolling[0]),
            11 => sweep.fill(sweep[0]),
            // Mirrored, and refused by what its sweep shows.
            12 => sweep.iter_mut().chain([ahead]).for_each(|[fl, fr, rl, rr]| {
                std::mem::swap(fl, fr);
                std::mem::swap(rl, rr);
            }),
            // Wheels that roll in step with the steering, as rigidly as if they were locked.
            13 => {
                let seed = 100 + record as u64;
                let car = VirtualVehicle { sweep_wheels_locked: false, ..VirtualVehicle::random(seed) };
                for (station, rolled) in sweep.iter_mut().zip(&car.session().sweep) {
                    *station = poses_of(rolled);
                }
            }
            _ => sweep[0][1][0][0] += 1e-9,
        }
    }
    let noisy = sessions.sessions[0].clone();
    let plain = Session { pose_noise: None, ..noisy.clone() };
    let free = Session { sweep_wheels_locked: Some(false), ..noisy.clone() };
    let found_again = Session { sweep_body: SweepBody::FoundAgain, ..noisy.clone() };
    let no_radius = Session { loaded_radius_mm: None, ..noisy.clone() };
    let early = Turn { angle_deg: 5.0, ..noisy.reference.turn };
    let turned = Session { reference: Reference { turn: early, ..noisy.reference }, ..noisy.clone() };
    for settings in [noisy, plain, free, found_again, no_radius, turned] {
        let records = sessions.records(&settings);
        let (refused, weak) = assert_sessions_as_alone(&records);
        assert!(refused > 5 && weak > 5, "{refused} {weak}");
        assert_sessions_as_alone(&SessionRecords { lock_left: &[], lock_right: &[], ..records });
        assert_sessions_as_alone(&SessionRecords { sweep: Stations::default(), ..records });
    }
}

#[test]
fn a_session_is_read_back_from_its_record() {
    let sessions = Sessions::random(0..3);
    let session = Session { pose_noise: None, ..sessions.sessions[2].clone() };
    assert_eq!(sessions.records(&session).one(2).unwrap(), session);
    assert_eq!(sessions.records(&session).one(3).unwrap_err().code, ErrorCode::Contradiction);
}

#[test]
fn sessions_that_do_not_fit_together_are_refused_by_their_names() {
    let sessions = Sessions::random(0..3);
    let settings = sessions.sessions[0].clone();
    let whole = sessions.records(&settings);
    let input = |records: &SessionRecords<'_>, warnings: usize| {
        let (mut values, mut codes, mut warnings) = ([0.0; 3], [0; 3], vec![0; warnings]);
        let mut into = Columns { readings: &[0], values: &mut [&mut values], codes: &mut codes };
        let error = batch::measure(records, &mut into, &mut warnings).unwrap_err();
        (error.code, error.input.unwrap())
    };
    let contradiction = |name| (ErrorCode::Contradiction, name);
    let fewer = Stations { poses: &sessions.rolling[1..], ..whole.rolling };
    assert_eq!(input(&SessionRecords { rolling: fewer, ..whole }, 3), contradiction("rolling"));
    assert_eq!(
        input(&SessionRecords { sweep: Stations { each: 0, ..whole.sweep }, ..whole }, 3),
        contradiction("sweep")
    );
    assert_eq!(input(&SessionRecords { lock_left: &sessions.lock_left[1..], ..whole }, 3), contradiction("lock_left"));
    assert_eq!(input(&SessionRecords { up: &sessions.up[1..], ..whole }, 3), contradiction("up"));
    assert_eq!(input(&whole, 2), contradiction("warnings"));
    let absurd = Stations { each: usize::MAX, ..whole.rolling };
    assert_eq!(input(&SessionRecords { rolling: absurd, ..whole }, 3), contradiction("rolling"));
}

//! Inputs made of bytes: numbers of every kind, poses that are nearly right, and sessions that were spoiled in a few places. Bytes alone
//! would never pass the first check.

use alignment_core::compensation::{self, Compensation};
use alignment_core::error::Stage;
use alignment_core::record::Record;
use alignment_core::session::{
    Camera, Centreline, CompensationMethod, Datum, InputUncertainty, JointOptions, Method, Noise, PoseCovariance,
    PoseNoise, RollingBody, Sighting, SweepBody, TurnWheel,
};
use alignment_core::simulate::{BodyMotion, Clamp, ClampSlip, VirtualVehicle};
use alignment_core::uncertainty::Plan;
use alignment_core::{ByAxle, ByWheel, Pose, Session, Side, Station, Wheel};
use arbitrary::Unstructured;
use std::sync::LazyLock;

/// Where formulas break: zeros, the ends of the range, quarter turns, the bounds of the checks.
const SPECIAL: [f64; 28] = [
    0.0,
    -0.0,
    1.0,
    -1.0,
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    f64::MAX,
    f64::MIN,
    f64::MIN_POSITIVE,
    5e-324,
    f64::EPSILON,
    1e-7,
    1e-160,
    1e160,
    0.5,
    2.0,
    45.0,
    80.0,
    90.0,
    -90.0,
    180.0,
    360.0,
    50.0,
    1000.0,
    1500.0,
    1e5,
    1e6,
];

/// Sound sessions, each with its compensation: what is spoiled.
static SOUND: LazyLock<Vec<(Session, ByWheel<Compensation>)>> = LazyLock::new(|| {
    let few = |car: VirtualVehicle| VirtualVehicle {
        roll_deg: vec![-20.0, 3.0, 20.0],
        sweep_deg: vec![-20.0, -7.0, 9.0, 20.0],
        ..car
    };
    // Everything at right angles: what cancels here to the last bit is only small elsewhere.
    let mut true_car = few(VirtualVehicle::default());
    for wheel in
        [&mut true_car.front.left, &mut true_car.front.right, &mut true_car.rear.left, &mut true_car.rear.right]
    {
        (wheel.camber_deg, wheel.toe_to_centreline_deg, wheel.caster_deg, wheel.sai_deg) = (0.0, 0.0, 0.0, 0.0);
        wheel.clamp = Clamp { tilt_deg: 0.0, tilt_bearing_deg: 0.0, clock_deg: 0.0, ..wheel.clamp };
    }
    true_car.rig_from_vehicle =
        Pose { rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [0.0; 3] };
    let two_stations = VirtualVehicle { roll_deg: vec![-15.0, 15.0], ..true_car.clone() };
    let free = VirtualVehicle { sweep_wheels_locked: false, ..few(VirtualVehicle::random(1)) };
    let true_and_free = VirtualVehicle { sweep_wheels_locked: false, ..true_car.clone() };
    let noise = Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.1 });
    let noisy = VirtualVehicle { pose_noise: noise, ..few(VirtualVehicle::random(2)) };
    let spun = VirtualVehicle {
        compensation: CompensationMethod::Spun,
        roll_deg: vec![-100.0, 0.0, 120.0],
        ..few(VirtualVehicle::random(4))
    };
    let true_and_spun = VirtualVehicle { compensation: CompensationMethod::Spun, ..true_car.clone() };
    let turning = VirtualVehicle { rolling_yaw_deg_per_m: 1.5, ..few(VirtualVehicle::random(5)) };
    let framed = VirtualVehicle { pose_noise: noise, frames: 3, ..few(VirtualVehicle::random(6)) };
    let moving = VirtualVehicle {
        body_motion: BodyMotion { rise_mm: 9.0, slide_mm: [4.0, -3.0], roll_deg: 0.8, pitch_deg: -0.5, yaw_deg: 0.3 },
        sweep_body: SweepBody::FoundAgain,
        ..few(VirtualVehicle::random(7))
    };
    let moving_and_free = VirtualVehicle { sweep_wheels_locked: false, ..moving.clone() };
    let slip = |stage, station, onward, wheel| ClampSlip { stage, station, onward, wheel, angle_deg: 1.0 };
    let slipping = VirtualVehicle {
        slips: vec![slip(Stage::Rolling, 2, false, Wheel::Rl), slip(Stage::Sweep, 4, true, Wheel::Fr)],
        ..VirtualVehicle::default()
    };
    let cars = [
        VirtualVehicle::default(),
        few(VirtualVehicle::default()),
        true_car,
        two_stations,
        free,
        true_and_free,
        noisy,
        few(VirtualVehicle::random(3)),
        spun,
        true_and_spun,
        turning,
        framed,
        moving,
        moving_and_free,
        slipping,
    ];
    cars.iter()
        .map(|car| {
            let mut session = car.session();
            session.ride_height_mm = Some(ByWheel { fl: 180.0, fr: 181.0, rl: 190.0, rr: 191.0 });
            session.runway_mm = Some(runway(&session));
            let (up, radii) = (session.up.unwrap(), session.loaded_radius_mm.unwrap());
            let (rolling, standoff) = (&session.rolling, &session.clamp_standoff_mm);
            let compensated = match car.compensation {
                CompensationMethod::Rolled => {
                    compensation::from_rolling(rolling, up, standoff, &radii, session.rolling_body)
                }
                CompensationMethod::Spun => compensation::from_spinning(rolling, up, standoff),
            };
            let wheels = compensated.and_then(|compensated| compensated.all_wheels()).unwrap();
            (session, wheels)
        })
        .collect()
});

/// Points of one level runway straight under the targets.
fn runway(session: &Session) -> ByWheel<[f64; 3]> {
    let up = session.up.unwrap();
    let origin = |wheel: Wheel| session.ahead.get(wheel).frames()[0].translation_mm;
    let height = |p: [f64; 3]| (0..3).map(|i| p[i] * up[i]).sum::<f64>();
    let ground = Wheel::ALL.into_iter().map(|wheel| height(origin(wheel))).fold(f64::INFINITY, f64::min) - 300.0;
    ByWheel::from_fn(|wheel| {
        let origin = origin(wheel);
        core::array::from_fn(|i| origin[i] + up[i] * (ground - height(origin)))
    })
}

/// Bytes that are drawn from until they run out; from then on everything is its first choice.
pub struct Bytes<'a>(Unstructured<'a>);

impl<'a> Bytes<'a> {
    pub fn new(bytes: &'a [u8]) -> Self {
        Self(Unstructured::new(bytes))
    }

    /// A number from 0 up to, and without, `count`.
    pub fn below(&mut self, count: usize) -> usize {
        self.0.int_in_range(0..=count - 1).unwrap_or_default()
    }

    pub fn flag(&mut self) -> bool {
        self.below(2) == 1
    }

    /// Any bit pattern, a special number, or one of an everyday size.
    pub fn number(&mut self) -> f64 {
        match self.below(6) {
            0 => self.0.arbitrary().unwrap_or_default(),
            1 => SPECIAL[self.below(SPECIAL.len())],
            2 => f64::from(self.integer::<i16>()) / 100.0,
            3 => f64::from(self.integer::<i32>()) / 1e5,
            4 => f64::from(self.integer::<i32>()) / f64::from(i32::MAX),
            _ => f64::from(self.integer::<i8>()),
        }
    }

    pub fn numbers<const N: usize>(&mut self) -> [f64; N] {
        core::array::from_fn(|_| self.number())
    }

    /// A number between the bounds, seldom any other.
    pub fn between(&mut self, least: f64, most: f64) -> f64 {
        if self.below(8) == 7 {
            return self.number();
        }
        least + (most - least) * f64::from(self.integer::<u16>()) / f64::from(u16::MAX)
    }

    /// A unit vector, more or less.
    pub fn unit(&mut self) -> [f64; 3] {
        let axis = self.below(3);
        let sign = if self.flag() { -1.0 } else { 1.0 };
        let mut unit = core::array::from_fn(|i| if i == axis { sign } else { 0.0 });
        match self.below(8) {
            0 => return self.numbers(),
            1 => unit[self.below(3)] = self.number(),
            2 | 3 => {}
            _ => unit = self.numbers::<3>().map(|v| if v.abs() < 1e3 { v } else { 0.1 }),
        }
        let norm = unit.iter().map(|v| v * v).sum::<f64>().sqrt();
        if norm > 0.0 { unit.map(|v| v / norm) } else { unit }
    }

    /// A pose, more or less: any turn, some metres away, and seldom a number that does not belong there.
    pub fn pose(&mut self) -> Pose {
        let [x, y, z] = self.unit();
        let angle = if self.flag() { self.number() } else { self.between(-3.2, 3.2) };
        let translation_mm = core::array::from_fn(|_| self.between(-4000.0, 4000.0));
        let mut pose = Pose::from_rotation_vector_rad([x * angle, y * angle, z * angle], translation_mm)
            .unwrap_or(Pose { rotation: core::array::from_fn(|_| self.numbers()), translation_mm });
        if self.below(4) == 3 {
            self.spoil_pose(&mut pose);
        }
        pose
    }

    pub fn side(&mut self) -> Side {
        Side::ALL[self.below(2)]
    }

    pub fn wheel(&mut self) -> Wheel {
        Wheel::ALL[self.below(4)]
    }

    /// One of the choices.
    pub fn one_of<T: Copy, const N: usize>(&mut self, choices: [T; N]) -> T {
        choices[self.below(N)]
    }

    /// One to nine frames near a pose, seldom one that is far.
    pub fn frames_near(&mut self, pose: Pose) -> Vec<Pose> {
        let scatter = self.one_of([1e-6, 1e-4, 1e-3, 0.1]);
        (0..=self.below(9))
            .map(|_| {
                let mut small = || scatter * f64::from(self.integer::<i8>()) / 128.0;
                let (turn, shift) = ([small(), small(), small()], [small(), small(), small()]);
                let shift = shift.map(|v| 10.0 * v);
                let mut frame = Pose::from_rotation_vector_rad(turn, shift).map_or(pose, |by| {
                    let translation_mm = core::array::from_fn(|i| pose.translation_mm[i] + shift[i]);
                    Pose { translation_mm, ..moved(&by, &pose) }
                });
                if self.below(32) == 31 {
                    self.spoil_pose(&mut frame);
                }
                frame
            })
            .collect()
    }

    pub fn centreline(&mut self) -> Centreline {
        if self.flag() { Centreline::SideLineBisector } else { Centreline::AxleMidpoints }
    }

    /// Loaded radii, given or not.
    pub fn radii(&mut self) -> ByAxle<Option<f64>> {
        let mut radius = || if self.flag() { Some(self.between(250.0, 400.0)) } else { None };
        ByAxle { front: radius(), rear: radius() }
    }

    /// A sound session that was spoiled in up to four ways, and the compensation that it had before.
    pub fn session(&mut self) -> (Session, ByWheel<Compensation>) {
        let (mut session, compensation) = SOUND[self.below(SOUND.len())].clone();
        self.choose_method(&mut session);
        for _ in 0..self.below(5) {
            self.spoil(&mut session);
        }
        (session, compensation)
    }

    /// Stage by stage or jointly, then with a tolerance for slip that is sane, at its bounds, or absurd.
    fn choose_method(&mut self, session: &mut Session) {
        session.method = self.one_of([Method::Staged, Method::Joint]);
        let slip_mm = match self.below(4) {
            0 | 1 => 0.0,
            2 => self.one_of([0.01, 0.2, 1.0, 100.0, 1e-6, 1e-160, 1e-300, 5e-324]),
            _ => self.number(),
        };
        session.joint = JointOptions { robust: self.below(3) == 2, rolling_slip_mm: slip_mm };
    }

    /// The text of a sound session in which up to three tokens were replaced.
    pub fn session_text(&mut self) -> String {
        /// Every short session there is, as text.
        static TEXTS: LazyLock<Vec<String>> = LazyLock::new(|| {
            let short = SOUND.iter().filter(|(session, _)| session.sweep.len() < 5);
            let methods = short.flat_map(|(session, _)| {
                [Method::Staged, Method::Joint].map(|method| Session { method, ..session.clone() })
            });
            methods.map(|session| alignment_core::json::session_to_json(&session)).collect()
        });
        let text = TEXTS[self.below(TEXTS.len())].clone();
        self.spoiled_text(text)
    }

    /// The text of a sound specification in which up to three tokens were replaced.
    pub fn specification_text(&mut self) -> String {
        self.spoiled_text(include_str!("../../examples/demo_specification.json").to_owned())
    }

    /// Any text: bytes, or what markup and parsers trip over.
    fn hostile_text(&mut self) -> String {
        const HOSTILE: [&str; 10] = [
            "",
            "</td><script>alert(1)</script>",
            "\"><img src=x onerror=alert(1)>",
            "| a |\n|---|\n**b** [c](d) `e`",
            "\u{202e}\u{2066}\u{0}\u{1b}\u{85}\u{feff}",
            "\"digest\": \"",
            "alignment-record/1",
            "\\|",
            "<!-- & ]]> {{ x }}",
            "\u{5d0}\u{627}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}",
        ];
        match self.below(3) {
            0 => HOSTILE[self.below(HOSTILE.len())].to_owned(),
            1 => HOSTILE[self.below(HOSTILE.len())].repeat(1 + self.below(200)),
            _ => String::from_utf8_lossy(&self.0.arbitrary::<[u8; 8]>().unwrap_or_default()).into_owned(),
        }
    }

    /// A sound record in which texts and numbers were replaced.
    pub fn record(&mut self) -> Record {
        static SOUND_RECORD: LazyLock<Record> = LazyLock::new(|| {
            let text = include_str!("../vectors/record-1.json");
            let mut record = Record::from_json(text).unwrap();
            for state in [&mut record.before, &mut record.after] {
                state.as_mut().unwrap().readings.truncate(3);
            }
            record.conventions.truncate(1);
            record
        });
        let mut record = SOUND_RECORD.clone();
        for _ in 0..1 + self.below(6) {
            match self.below(12) {
                0 => record.identity.vehicle = Some(self.hostile_text()),
                1 => record.identity.record_id = Some(self.hostile_text()),
                2 => record.notes.push(self.hostile_text()),
                3 => record.adjustments[0].unit = Some(self.hostile_text()),
                4 => record.adjustments[0].amount = Some(self.number()),
                5 => record.attachments[0].name = self.hostile_text(),
                6 => record.conventions[0].meaning = self.hostile_text(),
                7 => record.stand.iter_mut().for_each(|stand| stand.parameters[0].name = self.hostile_text()),
                8 => record.before = None,
                9 => record.after = None,
                _ => {
                    let number = self.number();
                    let text = self.hostile_text();
                    let place = self.below(8);
                    if let Some(state) = if self.flag() { &mut record.before } else { &mut record.after } {
                        let index = place % state.readings.len();
                        let reading = &mut state.readings[index];
                        match place {
                            0 => reading.value = Some(number),
                            1 => reading.expanded_uncertainty = Some(number),
                            2 => reading.degrees_of_freedom = Some(number),
                            3 => reading.max = Some(number),
                            4 => reading.path = text,
                            5 => reading.unit = text,
                            6 => reading.probability_of_conformity = Some(number),
                            _ => state.load_state = Some(text),
                        }
                    }
                }
            }
        }
        record
    }

    /// The text of such a record in which up to three tokens were replaced.
    pub fn record_text(&mut self) -> String {
        let text = self.record().to_json().unwrap_or_default();
        self.spoiled_text(text)
    }

    /// The text of what is required of a stand in which up to three tokens were replaced.
    pub fn stand_text(&mut self) -> String {
        self.spoiled_text(include_str!("../../examples/demo_stand.json").to_owned())
    }

    fn spoiled_text(&mut self, mut text: String) -> String {
        const TOKENS: [&str; 20] = [
            "",
            "null",
            "0",
            "-0.0",
            "1e400",
            "1e308",
            "NaN",
            "[]",
            "[",
            "]",
            "{}",
            "}",
            "\"\"",
            "\"",
            "\"fl\"",
            "\"rotation\"",
            "\"up\"",
            ",",
            ":",
            "true",
        ];
        for _ in 0..self.below(4) {
            let inside = |c: char| !matches!(c, ' ' | '\n' | ',' | ':' | '[' | ']' | '{' | '}');
            let at = (self.below(text.len() + 1)..=text.len()).find(|&at| text.is_char_boundary(at)).unwrap();
            let start = text[..at].trim_end_matches(inside).len();
            let end = text.len() - text[at..].trim_start_matches(inside).len();
            let token = match self.below(3) {
                0 => self.number().to_string(),
                1 => String::from_utf8_lossy(&self.0.arbitrary::<[u8; 4]>().unwrap_or_default()).into_owned(),
                _ => TOKENS[self.below(TOKENS.len())].to_owned(),
            };
            text.replace_range(start..end, &token);
        }
        text
    }

    /// The code of a tyre size, part by part, of which few are wrong.
    pub fn tyre_code(&mut self) -> String {
        let rare = |bytes: &mut Self, usual: String| {
            if bytes.below(16) == 15 {
                bytes.one_of(["", " ", "/", "R", ".5", "(", "1e3", "-1", "４", "ß", "99999999999", "\u{0}"]).to_owned()
            } else {
                usual
            }
        };
        let mut code = String::new();
        for part in 0..9 {
            let usual = match part {
                0 => self.one_of(["", "P", "LT", "st", "t"]).to_owned(),
                1 => (100 + self.below(400)).to_string(),
                2 => self.one_of(["/", " / "]).to_owned(),
                3 => (20 + self.below(80)).to_string(),
                4 => self.one_of(["R", "ZR", " r", "B", "D"]).to_owned(),
                5 => (8 + self.below(23)).to_string(),
                6 => self.one_of(["", ".5", "C", " LT", ".5 C"]).to_owned(),
                7 => self.one_of(["", " 91V", " 112/110R", " (99Y)", "\t8V"]).to_owned(),
                _ => self.one_of(["", " XL", " "]).to_owned(),
            };
            code += &rare(self, usual);
        }
        code
    }

    /// Any bytes as text.
    pub fn text(&mut self) -> String {
        String::from_utf8_lossy(self.0.peek_bytes(self.0.len()).unwrap_or_default()).into_owned()
    }

    fn integer<T: for<'b> arbitrary::Arbitrary<'b> + Default>(&mut self) -> T {
        self.0.arbitrary().unwrap_or_default()
    }

    /// Replaces one number of a pose, or moves it by a little.
    pub fn spoil_pose(&mut self, pose: &mut Pose) {
        let index = self.below(12);
        let number =
            if index < 9 { &mut pose.rotation[index / 3][index % 3] } else { &mut pose.translation_mm[index - 9] };
        self.spoil_number(number);
    }

    /// Replaces a number, or moves it by a little: past every bound there is one hair's breadth to try.
    pub fn spoil_number(&mut self, number: &mut f64) {
        *number = match self.below(4) {
            0 => *number * (1.0 + 0.5_f64.powi(i32::from(self.integer::<u8>() % 52))),
            1 => *number + 0.5_f64.powi(i32::from(self.integer::<u8>() % 60)),
            2 => -*number,
            _ => self.number(),
        };
    }

    fn spoil(&mut self, session: &mut Session) {
        match self.below(26) {
            0 | 1 => {
                if let Some(pose) = self.any_pose(session) {
                    self.spoil_pose(pose);
                }
            }
            2 => {
                let new = self.pose();
                if let Some(pose) = self.any_pose(session) {
                    *pose = new;
                }
            }
            3 => {
                if let Some(&mut from) = self.any_pose(session)
                    && let Some(to) = self.any_pose(session)
                {
                    *to = from;
                }
            }
            4 => {
                let (wheel, frames) = (self.wheel(), self.below(4));
                let frames = (0..frames).map(|_| self.pose()).collect();
                *self.any_station(session).get_mut(wheel) = Sighting::Frames(frames);
            }
            5 => {
                let wheel = self.wheel();
                *self.any_station(session).get_mut(wheel) = Sighting::NotSeen;
            }
            6 | 7 => self.spoil_stage(session),
            8 => self.exchange_wheels(session),
            9 => std::mem::swap(&mut session.rolling, &mut session.sweep),
            10 => {
                let factor = self.number();
                for pose in stations(session).into_iter().flat_map(poses_of) {
                    pose.translation_mm = pose.translation_mm.map(|v| v * factor);
                }
            }
            11 | 12 => self.spin(session),
            13 => session.up = if self.below(8) == 7 { None } else { Some(self.unit()) },
            14 => self.spoil_numbers(session),
            15 | 16 => {
                session.reference.datum = self.one_of([Datum::WheelPlane, Datum::Runway, Datum::Up]);
                if self.flag() {
                    session.up = None;
                }
            }
            17 => self.spoil_runway(session),
            18 | 19 => self.give_cameras(session),
            20 => {
                session.compensation = self.one_of([CompensationMethod::Spun, CompensationMethod::Rolled]);
                session.rolling_body = self.one_of([RollingBody::Translates, RollingBody::Turns]);
            }
            21 => session.sweep_body = self.one_of([SweepBody::FoundAgain, SweepBody::Still]),
            22 => self.block_camera(session),
            23 => {
                let wheel = self.wheel();
                let sighting = self.any_station(session).get_mut(wheel);
                if let Some(&pose) = sighting.frames().first() {
                    *sighting = Sighting::Frames(self.frames_near(pose));
                }
            }
            24 => self.move_body(session),
            _ => {
                session.sweep_wheels_locked = self.one_of([None, Some(true), Some(false)]);
                session.reference.centreline = self.centreline();
                session.reference.turn.wheel = if self.flag() { TurnWheel::Outer } else { TurnWheel::Inner };
                session.reference.turn.angle_deg = self.between(1.0, 60.0);
            }
        }
    }

    /// Doubles, empties or drops a station of the rolling or of the sweep, or drops them all, or turns their order.
    fn spoil_stage(&mut self, session: &mut Session) {
        let stage = if self.flag() { &mut session.rolling } else { &mut session.sweep };
        if stage.is_empty() {
            return;
        }
        let index = self.below(stage.len());
        match self.below(5) {
            0 => stage.push(stage[index].clone()),
            1 => stage[index] = Station::default(),
            2 => {
                stage.remove(index);
            }
            3 => stage.clear(),
            _ => stage.reverse(),
        }
    }

    /// Exchanges two wheels at one station or at all of them.
    fn exchange_wheels(&mut self, session: &mut Session) {
        let (a, b, only) = (self.wheel(), self.wheel(), self.below(32));
        for (index, station) in stations(session).into_iter().enumerate() {
            if only >= 16 || only == index {
                let from_a = std::mem::take(station.get_mut(a));
                let from_b = std::mem::replace(station.get_mut(b), from_a);
                *station.get_mut(a) = from_b;
            }
        }
    }

    /// Turns one wheel or all in a stage about an axis of their own, each station further: a motion that is rigid and yet none of a car's.
    fn spin(&mut self, session: &mut Session) {
        let axis = self.unit();
        let step_rad = self.between(-1.0, 1.0);
        let only = if self.flag() { Some(self.wheel()) } else { None };
        let (in_target, from_first) = (self.flag(), self.flag());
        let stage = if self.flag() { &mut session.rolling } else { &mut session.sweep };
        let Some(first) = stage.first().cloned() else { return };
        for (index, station) in (0_u8..).zip(stage) {
            let angle = step_rad * f64::from(index);
            let Ok(turn) = Pose::from_rotation_vector_rad(axis.map(|v| v * angle), [0.0; 3]) else { return };
            for wheel in Wheel::ALL.into_iter().filter(|wheel| only.is_none_or(|only| only == *wheel)) {
                for pose in frames_of(station.get_mut(wheel)) {
                    let old = match first.get(wheel).frames().first() {
                        Some(first) if from_first => first.rotation,
                        _ => pose.rotation,
                    };
                    let (a, b) = if in_target { (old, turn.rotation) } else { (turn.rotation, old) };
                    pose.rotation = product(&a, &b);
                }
            }
        }
    }

    /// Leaves the runway out, moves a point of it or lays two on one place.
    fn spoil_runway(&mut self, session: &mut Session) {
        let (wheel, other, axis) = (self.wheel(), self.wheel(), self.below(3));
        let Some(runway) = &mut session.runway_mm else { return };
        match self.below(4) {
            0 => session.runway_mm = None,
            1 => *runway.get_mut(wheel) = *runway.get(other),
            _ => self.spoil_number(&mut runway.get_mut(wheel)[axis]),
        }
        session.reference.datum = Datum::Runway;
    }

    /// The poses of some wheels as a camera reports them in its own frame; seldom its pose or its wheels are wrong.
    fn give_cameras(&mut self, session: &mut Session) {
        for name in ["left", "right"].into_iter().take(1 + self.below(2)) {
            let mut wheels: Vec<Wheel> = (0..self.below(4)).map(|_| self.wheel()).collect();
            wheels.sort_by_key(|wheel| wheel.to_string());
            if self.below(8) != 7 {
                let named = |wheel: &Wheel| session.cameras.values().any(|camera| camera.wheels.contains(wheel));
                wheels.dedup();
                wheels.retain(|wheel| !named(wheel));
            }
            let turn = core::array::from_fn(|_| self.between(-3.0, 3.0));
            let at = core::array::from_fn(|_| self.between(-4000.0, 4000.0));
            let mut rig_from_camera = Pose::from_rotation_vector_rad(turn, at).unwrap_or_else(|_| self.pose());
            let camera_from_rig = inverse(&rig_from_camera);
            for station in stations(session) {
                for &wheel in &wheels {
                    for pose in frames_of(station.get_mut(wheel)) {
                        *pose = moved(&camera_from_rig, pose);
                    }
                }
            }
            if self.below(8) == 7 {
                self.spoil_pose(&mut rig_from_camera);
            }
            session.cameras.insert(name.to_owned(), Camera { rig_from_camera, wheels });
        }
    }

    /// Takes a wheel out of a whole stage.
    fn block_camera(&mut self, session: &mut Session) {
        let (wheel, stage) = (self.wheel(), self.below(5));
        let Session { rolling, ahead, sweep, lock_left, lock_right, .. } = session;
        let hide = |station: &mut Station| *station.get_mut(wheel) = Sighting::NotSeen;
        match stage {
            0 => rolling.iter_mut().for_each(hide),
            1 => sweep.iter_mut().for_each(hide),
            2 => hide(ahead),
            3 => lock_left.iter_mut().chain(lock_right).for_each(hide),
            _ => rolling.iter_mut().chain([ahead]).chain(sweep).chain(lock_left).chain(lock_right).for_each(hide),
        }
    }

    /// Moves all wheels of one station, as a body that does not stand still, or one target on its clamp from a station of the sweep on.
    fn move_body(&mut self, session: &mut Session) {
        let turn = self.unit().map(|v| v * self.one_of([1e-4, 0.01, 0.1, 1.0]));
        let shift = core::array::from_fn(|_| self.between(-50.0, 50.0));
        let Ok(motion) = Pose::from_rotation_vector_rad(turn, shift) else { return };
        if self.flag() {
            for pose in poses_of(self.any_station(session)) {
                *pose = moved(&motion, pose);
            }
            return;
        }
        let (wheel, from) = (self.wheel(), self.below(session.sweep.len().max(1)));
        for station in session.sweep.iter_mut().skip(from) {
            for pose in frames_of(station.get_mut(wheel)) {
                *pose = moved(pose, &motion);
            }
        }
    }

    /// What the session says of its noise and of its other inputs.
    pub(super) fn scatter(&mut self, session: &mut Session) {
        if session.pose_noise.is_none() || self.flag() {
            let scale = self.one_of([0.0, 1e-300, 1e-6, 1.0, 10.0]);
            let mut covariance: [[f64; 6]; 6] =
                core::array::from_fn(|_| core::array::from_fn(|_| self.between(-0.1, 0.1)));
            let root = covariance;
            for (i, row) in covariance.iter_mut().enumerate() {
                for (j, element) in row.iter_mut().enumerate() {
                    *element = scale * (0..6).map(|k| root[i][k] * root[j][k]).sum::<f64>();
                }
            }
            let noise = PoseNoise { rotation_deg: 0.01 * scale.min(1.0), translation_mm: 0.1 * scale.min(1.0) };
            session.pose_noise = match self.below(4) {
                0 => None,
                1 => Some(Noise::Covariance(Box::new(PoseCovariance { covariance }))),
                _ => Some(noise.into()),
            };
        }
        if self.flag() {
            session.input_uncertainty = Some(self.input_uncertainty());
        }
    }

    fn input_uncertainty(&mut self) -> InputUncertainty {
        let mut any = |most: f64| self.one_of([0.0, 1e-12, 0.1, 1.0]) * most;
        InputUncertainty {
            clamp_standoff_mm: any(1.0),
            up_deg: any(0.1),
            loaded_radius_mm: any(5.0),
            runway_mm: any(1.0),
            ride_height_mm: any(1.0),
            right_cameras: PoseNoise { rotation_deg: any(0.1), translation_mm: any(1.0) },
        }
    }

    /// A plan, sound or not.
    pub(super) fn plan(&mut self) -> Plan {
        let locked = self.flag();
        Plan {
            frames: self.one_of([0, 1, 3, 10_001]),
            roll_range_deg: self.one_of([10.0, 20.0, 54.0, 160.0, 1e9, f64::NAN]),
            roll_stations: self.one_of([0, 2, 3, 5, 201]),
            sweep_range_deg: self.one_of([0.0, 11.0, 17.0, 40.0, 90.0]),
            sweep_stations: self.one_of([0, 2, 3, 9, 1000]),
            sweep_wheels_locked: locked,
            wheelbase_mm: self.one_of([1000.0, 2600.0, 8000.0, -1.0]),
            track_mm: self.one_of([600.0, 1500.0, 3000.0, 0.0]),
            rolling_radius_mm: self.one_of([100.0, 300.0, 1000.0, f64::INFINITY]),
            input_uncertainty: self.input_uncertainty(),
            ..Plan::default()
        }
    }

    /// Replaces a number that is not in a pose.
    fn spoil_numbers(&mut self, session: &mut Session) {
        let wheel = self.wheel();
        match self.below(5) {
            0 => session.loaded_radius_mm = Some(self.radii()),
            1 => session.loaded_radius_mm = None,
            2 => *session.clamp_standoff_mm.get_mut(wheel) = self.between(-1000.0, 1000.0),
            3 => {
                let mut heights = session.ride_height_mm.unwrap_or_default();
                *heights.get_mut(wheel) = self.between(-2000.0, 5000.0);
                session.ride_height_mm = Some(heights);
            }
            _ => {
                session.pose_noise = Some(
                    PoseNoise { rotation_deg: self.between(0.0, 10.0), translation_mm: self.between(0.0, 100.0) }
                        .into(),
                );
            }
        }
    }

    fn any_station<'s>(&mut self, session: &'s mut Session) -> &'s mut Station {
        let mut stations = stations(session);
        let index = self.below(stations.len());
        stations.swap_remove(index)
    }

    /// A pose of any station, if a wheel was seen there.
    fn any_pose<'s>(&mut self, session: &'s mut Session) -> Option<&'s mut Pose> {
        let wheel = self.wheel();
        match self.any_station(session).get_mut(wheel) {
            Sighting::NotSeen => None,
            Sighting::Pose(pose) => Some(pose),
            Sighting::PoseWithCovariance(both) => Some(&mut both.0),
            Sighting::Frames(frames) => frames.first_mut(),
        }
    }
}

/// Every station of the session.
fn stations(session: &mut Session) -> Vec<&mut Station> {
    let Session { rolling, ahead, sweep, lock_left, lock_right, .. } = session;
    rolling.iter_mut().chain([ahead]).chain(sweep).chain(lock_left).chain(lock_right).collect()
}

/// Every pose of a station, frame by frame.
fn poses_of(station: &mut Station) -> impl Iterator<Item = &mut Pose> {
    let ByWheel { fl, fr, rl, rr } = station;
    [fl, fr, rl, rr].into_iter().flat_map(frames_of)
}

fn frames_of(sighting: &mut Sighting) -> &mut [Pose] {
    match sighting {
        Sighting::NotSeen => &mut [],
        Sighting::Pose(pose) => std::slice::from_mut(pose),
        Sighting::PoseWithCovariance(both) => std::slice::from_mut(&mut both.0),
        Sighting::Frames(frames) => frames,
    }
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

/// The pose as one seen after the other.
fn moved(by: &Pose, pose: &Pose) -> Pose {
    let at = |i: usize| (0..3).map(|k| by.rotation[i][k] * pose.translation_mm[k]).sum::<f64>() + by.translation_mm[i];
    Pose { rotation: product(&by.rotation, &pose.rotation), translation_mm: core::array::from_fn(at) }
}

fn inverse(pose: &Pose) -> Pose {
    let rotation = core::array::from_fn(|i| core::array::from_fn(|j| pose.rotation[j][i]));
    let back = Pose { rotation, translation_mm: [0.0; 3] };
    Pose { rotation, translation_mm: moved(&back, pose).translation_mm.map(|v| -v) }
}

//! What the core's own loop over many records takes, ns per record: what a call from another language adds is on top of it.
//!
//! `python benches/batch.py` writes the records to a file, runs this with it, and prints the figure beside its own:
//!
//! `cargo bench --bench batch -- ahead|measure RECORDS FILE READING,READING,…`

use alignment_core::batch::{self, AheadRecords, Columns, Poses4, SessionRecords, Stations};
use alignment_core::session::{ByAxle, Centreline, Session};
use std::time::Instant;

/// So many rounds, of which the best counts.
const ROUNDS: usize = 7;

/// The numbers of a file, one after the other.
struct Numbers(std::vec::IntoIter<f64>);

impl Numbers {
    fn read(file: &str) -> Self {
        let bytes = std::fs::read(file).unwrap_or_else(|error| panic!("{file}: {error}"));
        let (numbers, _) = bytes.as_chunks::<8>();
        Self(numbers.iter().map(|bytes| f64::from_le_bytes(*bytes)).collect::<Vec<_>>().into_iter())
    }

    fn one(&mut self) -> f64 {
        self.0.next().expect("the file ends too early")
    }

    fn array<const N: usize>(&mut self) -> [f64; N] {
        std::array::from_fn(|_| self.one())
    }

    fn by_wheel<const N: usize>(&mut self) -> [[f64; N]; 4] {
        std::array::from_fn(|_| self.array())
    }

    fn poses(&mut self, count: usize) -> Vec<Poses4> {
        (0..count).map(|_| std::array::from_fn(|_| std::array::from_fn(|_| self.array()))).collect()
    }
}

/// The best of some rounds, ns per record, into memory that is there already.
fn best_ns(records: usize, readings: &[usize], run: &dyn Fn(&mut Columns<'_, '_>)) -> f64 {
    let mut best = f64::INFINITY;
    let (mut codes, mut numbers) = (vec![-1; records], vec![f64::NAN; records * readings.len()]);
    let mut values: Vec<&mut [f64]> = numbers.chunks_exact_mut(records).collect();
    for _ in 0..ROUNDS {
        let start = Instant::now();
        run(&mut Columns { readings, values: &mut values, codes: &mut codes });
        best = best.min(start.elapsed().as_secs_f64());
        assert!(codes.iter().all(|&code| code == 0), "a record is refused");
    }
    #[expect(clippy::cast_precision_loss, reason = "a count in memory is far below 2^52")]
    let each = best * 1e9 / records as f64;
    each
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    let [kind, records, file, readings] = &arguments[..] else {
        println!("Run by benches/batch.py.");
        return;
    };
    let records: usize = records.parse().expect("a number of records");
    let readings: Vec<usize> = readings.split(',').map(|reading| reading.parse().expect("a position")).collect();
    let mut numbers = Numbers::read(file);
    let ns = match kind.as_str() {
        "ahead" => ahead(records, &readings, &mut numbers),
        "measure" => measure(records, &readings, &mut numbers),
        other => panic!("no such call: {other}"),
    };
    println!("{ns}");
}

fn ahead(records: usize, readings: &[usize], numbers: &mut Numbers) -> f64 {
    let (up, spindle, centre, radius) = (numbers.array(), numbers.by_wheel(), numbers.by_wheel(), numbers.array());
    let poses = numbers.poses(records);
    let given = AheadRecords {
        poses: &poses,
        spindle_in_target: &[spindle],
        centre_in_target_mm: &[centre],
        rolling_radius_mm: &[radius],
        up: &[up],
        loaded_radius_mm: ByAxle::default(),
        centreline: Centreline::AxleMidpoints,
    };
    best_ns(records, readings, &|columns| batch::ahead_readings(&given, columns).expect("records that fit"))
}

fn measure(records: usize, readings: &[usize], numbers: &mut Numbers) -> f64 {
    let (up, standoffs, [front, _, rear, _]) = (numbers.array(), numbers.array(), numbers.array());
    // So many stations each: rolling and sweep.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "written as a whole number")]
    let [rolled, swept] = numbers.array::<2>().map(|count| count as usize);
    let loaded_radius_mm = Some(ByAxle { front: Some(front), rear: Some(rear) });
    let settings = Session { loaded_radius_mm, sweep_wheels_locked: Some(true), ..Session::default() };
    let (rolling, ahead) = (numbers.poses(records * rolled), numbers.poses(records));
    let sweep = numbers.poses(records * swept);
    let given = SessionRecords {
        rolling: Stations { poses: &rolling, each: rolled },
        ahead: &ahead,
        sweep: Stations { poses: &sweep, each: swept },
        up: &[up],
        clamp_standoff_mm: &[standoffs],
        ..SessionRecords::new(&settings)
    };
    best_ns(records, readings, &|columns| {
        let mut warnings = vec![0; records];
        batch::measure(&given, columns, &mut warnings).expect("records that fit");
    })
}

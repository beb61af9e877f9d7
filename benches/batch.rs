//! What the core's own loop over many records takes, ns per record: what a call from another language adds is on top of it.
//!
//! `python benches/batch.py` writes the records to a file, runs this with it, and prints the figure beside its own:
//!
//! `cargo bench --bench batch -- ahead|measure RECORDS FILE`

use alignment_core::batch::{self, AheadRecords, Columns, Poses4};
use alignment_core::paths::COUNT;
use alignment_core::session::{ByAxle, Centreline};
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

/// The best of some rounds, ns per record, with memory for the results made anew in each, as a caller needs it.
fn best_ns(records: usize, readings: &[usize], run: &dyn Fn(&mut Columns<'_, '_>)) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let mut codes = vec![0; records];
        let mut numbers = vec![0.0; records * readings.len()];
        let mut values: Vec<&mut [f64]> = numbers.chunks_exact_mut(records).collect();
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
    let [kind, records, file] = &arguments[..] else {
        println!("Run by benches/batch.py.");
        return;
    };
    let records: usize = records.parse().expect("a number of records");
    let mut numbers = Numbers::read(file);
    let ns = match kind.as_str() {
        "ahead" => ahead(records, &mut numbers),
        other => panic!("no such call: {other}"),
    };
    println!("{:<40} {ns:>11.0} ns", "the core's own loop");
}

fn ahead(records: usize, numbers: &mut Numbers) -> f64 {
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
    let readings: Vec<usize> = (0..COUNT).collect();
    best_ns(records, &readings, &|columns| batch::ahead_readings(&given, columns).expect("records that fit"))
}

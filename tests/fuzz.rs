//! Every family of public functions on bytes drawn by seed: 20 000 each, or so many as `FUZZ_CASES` says.

#[path = "fuzz/targets.rs"]
mod targets;

use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Says on which bytes a family failed: what to hand to it in a test.
struct Case<'a> {
    family: &'a str,
    bytes: &'a [u8],
}

impl Drop for Case<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("targets::{}(&{:?})", self.family, self.bytes);
        }
    }
}

fn run(family: &str, target: fn(&[u8]) -> bool) {
    let cases: u64 = std::env::var("FUZZ_CASES").map_or(20_000, |cases| cases.parse().expect("FUZZ_CASES is a number"));
    let mut given = 0;
    for seed in 0..cases {
        let mut rng = Pcg64::seed_from_u64(seed);
        let mut bytes = vec![0; rng.random_range(0..=400)];
        rng.fill_bytes(&mut bytes);
        let case = Case { family, bytes: &bytes };
        given += u64::from(target(case.bytes));
    }
    println!("{family}: {cases} cases, of which {given} gave something");
    assert!(given > cases / 10, "{family}: nearly all is refused, so nearly nothing is tested");
    assert!(given < cases, "{family}: nothing is refused");
}

macro_rules! families {
    ($($family:ident),*) => {
        $(
            #[test]
            fn $family() {
                run(stringify!($family), targets::$family);
            }
        )*

        /// Fuzzing by coverage has the same families.
        #[test]
        fn every_family_has_its_program() {
            let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz");
            let manifest = std::fs::read_to_string(folder.join("Cargo.toml")).unwrap();
            let families = [$(stringify!($family)),*];
            for family in families {
                assert!(manifest.contains(&format!("\"fuzz_targets/{family}.rs\"")), "{family} has no [[bin]]");
                let program = std::fs::read_to_string(folder.join(format!("fuzz_targets/{family}.rs"))).unwrap();
                assert!(program.contains(&format!("targets::{family}(")), "{family}: its program runs another");
            }
            assert_eq!(manifest.matches("[[bin]]").count(), families.len());
        }
    };
}

families!(
    pose,
    session_text,
    rolling,
    spinning,
    ahead,
    wheels,
    steering_axis,
    turning,
    gauge,
    tyre,
    plane,
    by_hand,
    repeats,
    judging,
    diagnosing,
    uncertainties,
    followed,
    worth,
    adjusting,
    recorded,
    placing,
    session
);

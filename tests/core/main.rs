//! What crosses crates, in one binary: the virtual vehicle read back, invariants, the session format, the program, the contract, and
//! the formulas used by hand.

mod adjustment;
mod batch;
mod by_hand;
mod conformity;
mod contract;
mod coverage;
mod diagnosis;
mod errors;
mod format;
mod formulas;
mod invariants;
mod joint;
mod live;
mod paths;
mod program;
mod propagation;
mod published;
mod record;
mod repeatability;
mod stand;
mod statistics;
mod sweep;
mod truth;
mod uncertainty;
mod vectors;

use proptest::prelude::ProptestConfig;

/// So many random cases. A failure prints its inputs; nothing is written beside the sources.
fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(cases) }
}

/// A file of the project, from its top folder.
fn project_file(name: &str) -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Compares a generated file with the one in the project; `BLESS=1` writes it instead.
fn assert_generated(name: &str, generated: &str) {
    let path = project_file(name);
    if std::env::var_os("BLESS").is_some() {
        std::fs::create_dir_all(path.parent().expect("a file has a folder")).unwrap();
        std::fs::write(&path, generated).unwrap();
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(committed == generated, "{name} is stale: run the tests once with BLESS=1 and look at the difference");
}

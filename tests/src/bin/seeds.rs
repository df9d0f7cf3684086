//! Writes the good files of `tests/corpus` anew; finds stay as they are:
//! `cargo run -p scatter-tests --bin seeds`.

fn main() {
    scatter_tests::seeds::write(&scatter_tests::readers::corpus());
}

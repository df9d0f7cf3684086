//! The same bytes from every build: what holds the library to it.
//!
//! A layout is the same bytes however many threads share the work: what it says of its passes, too.
//!
//! The lint in `scatter/clippy.toml` refuses the platform's mathematics and fused multiply-adds; a
//! check here proves that it does. Another one, by hand, builds the command for processors that
//! have fused multiply-adds and compares what it dresses:
//! `cargo test --release -p scatter-tests --test exact -- --ignored --nocapture`, some five
//! minutes.

#![expect(clippy::print_stdout, reason = "says what was not run")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use scatter::shot::Preset;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn cargo(arguments: &[&str], folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO"));
    command.args(arguments).current_dir(folder);
    command
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// `layout.json` of a preset, seed 5, in pools of 1, 3 and 16 threads: sums of floats that threads
/// share out would differ in their last digits.
#[test]
fn a_layout_is_the_same_bytes_on_any_number_of_threads() {
    let mut shot = Preset::find("desert-pavement")
        .expect("a preset")
        .shot("threads");
    shot.take = 5;
    let dressed = |threads: usize| -> Vec<u8> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let layout = pool.expect("a pool of threads").install(|| {
            let dressed = scatter_tests::dresser::dress(&shot, Path::new("."));
            dressed.expect("the preset dresses").layout
        });
        let mut bytes = Vec::new();
        scatter::deliver::json::write(&layout, &mut bytes).expect("memory takes it");
        bytes
    };
    let one = dressed(1);
    assert!(one.len() > 100_000, "{} bytes", one.len());
    for threads in [3, 16] {
        assert!(dressed(threads) == one, "{threads} threads");
    }
}

/// Functions of both kinds of float that differ by platform, as the book of the standard library
/// marks them ("unspecified precision"), and the fused multiply-add.
const REFUSED: [&str; 27] = [
    "sin()",
    "cos()",
    "tan()",
    "sin_cos().0",
    "asin()",
    "acos()",
    "atan()",
    "atan2(x)",
    "sinh()",
    "cosh()",
    "tanh()",
    "asinh()",
    "acosh()",
    "atanh()",
    "exp()",
    "exp2()",
    "exp_m1()",
    "ln()",
    "ln_1p()",
    "log(x)",
    "log2()",
    "log10()",
    "powf(x)",
    "powi(3)",
    "cbrt()",
    "hypot(x)",
    "mul_add(x, x)",
];

#[test]
fn the_lint_refuses_the_platforms_mathematics() {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let library = root().join("scatter");
    let installed = cargo(&["clippy", "--version"], folder.path()).output();
    if !installed.is_ok_and(|o| o.status.success()) {
        println!("not run: clippy is not installed (rustup component add clippy)");
        return;
    }
    // The square root is exact everywhere and stays
    let code: String = ["f32", "f64"]
        .iter()
        .map(|float| {
            let body: String = REFUSED
                .iter()
                .map(|call| format!("    y += x.{call};\n"))
                .collect();
            format!(
                "pub fn all_{float}(x: {float}) -> {float} {{\n    let mut y = x.sqrt();\n{body}    y\n}}\n"
            )
        })
        .collect();
    fs::create_dir(folder.path().join("src")).expect("a folder");
    fs::write(folder.path().join("src/lib.rs"), code).expect("a file");
    let manifest =
        "[package]\nname = \"probe\"\nversion = \"0.0.0\"\nedition = \"2024\"\n[workspace]\n";
    fs::write(folder.path().join("Cargo.toml"), manifest).expect("a file");
    let output = cargo(&["clippy", "--offline", "--quiet"], folder.path())
        .env("CLIPPY_CONF_DIR", &library)
        .env("CARGO_TARGET_DIR", folder.path().join("target"))
        .env_remove("RUSTFLAGS")
        .output()
        .expect("clippy runs");
    let told = text(&output);
    let refused = |name: &str| told.contains(&format!("use of a disallowed method `{name}`"));
    for float in ["f32", "f64"] {
        for call in REFUSED {
            let method = call.split('(').next().unwrap_or_default();
            assert!(
                refused(&format!("{float}::{method}")),
                "{float}::{method} passes:\n{told}"
            );
        }
        assert!(!refused(&format!("{float}::sqrt")), "{told}");
    }
}

#[test]
#[ignore = "by hand: builds the command twice, five minutes"]
fn a_build_with_fused_multiply_adds_gives_the_same_bytes() {
    // Elsewhere the compiler refuses the flags, which are those of x86-64
    let work = root().join("target/exact");
    let build = |name: &str, flags: &str| -> PathBuf {
        let target = work.join(name);
        let built = cargo(
            &["build", "--release", "--quiet", "-p", "scatter-cli"],
            &root(),
        )
        .env("RUSTFLAGS", flags)
        .env("CARGO_TARGET_DIR", &target)
        .status()
        .expect("cargo runs");
        assert!(built.success(), "the build with {flags:?} failed");
        target.join("release/strew")
    };
    let commands = [
        build("plain", ""),
        build("fused", "-C target-feature=+avx2,+fma"),
    ];
    let mut compared = 0;
    for example in ["river-kettle", "scree-lamp", "orchard-pot"] {
        let layouts = commands.each_ref().map(|command| {
            let out = tempfile::tempdir().expect("a folder for temporary files");
            let status = Command::new(command)
                .args(["dress", "shot.json", "--quiet", "--as", "json", "--out"])
                .arg(out.path())
                .current_dir(root().join("examples").join(example))
                .status()
                .expect("the command runs");
            assert!(status.success(), "{example}");
            fs::read(out.path().join("layout.json")).expect("a layout")
        });
        assert!(
            layouts[0].len() > 100_000,
            "{example}: {} bytes",
            layouts[0].len()
        );
        assert!(layouts[0] == layouts[1], "{example} differs");
        println!("{example}: {} bytes alike", layouts[0].len());
        compared += 1;
    }
    assert_eq!(compared, 3);
}

//! `strew at`: what stands at a pixel of the picture.

use scatter::brief::PINS;
use scatter::cancel::Cancel;
use scatter::error::Result;
use scatter::kit::{Kind, Piece};
use scatter::layout::{Instance, Layout};
use scatter::picture::{self, LookOptions, Seen, SeenThing, Subject, TracedKit};
use scatter::session::Session;

use super::scene::Found;
use crate::args::PixelAt;
use crate::output::Output;

pub(crate) fn run(args: &PixelAt, output: &Output) -> Result<()> {
    let found = Found::new(&args.at, None)?;
    let camera = found.camera(args.camera.as_deref(), args.frame)?;
    let options = LookOptions {
        width: args.width,
        ..LookOptions::default()
    };
    let in_file = |e: scatter::error::Error| e.in_file(&found.file);
    let brief = found.brief()?;
    let mut session = Session::forgetful(found.folder());
    let layout = match &args.layout {
        Some(file) => session.read(file, &brief)?,
        None => {
            let progress = |stage: &str| output.progress(stage);
            let dressed = session.dress(&brief, &progress, &Cancel::new());
            dressed.map_err(in_file)?.0
        }
    };
    let prepared = session.prepare(&brief).map_err(in_file)?;
    let subject = Subject::new(prepared.scene(), &layout);
    let kit = TracedKit::new(&layout.pieces);
    let seen = picture::pick(&kit, &subject, &camera, &options, args.pixel.0);
    let [x, y] = args.pixel.0;
    let of = format!(
        "pixel {x},{y} of {} x {}\n",
        args.width,
        options.height(&camera)
    );
    let removes = !brief.removed.is_empty();
    output.data(&(of + &told(seen.map_err(in_file)?, &layout, removes)))
}

/// What is told of a pixel; `removes` is whether the shot has a list of removed pieces.
fn told(seen: Option<Seen>, layout: &Layout, removes: bool) -> String {
    let Some(seen) = seen else {
        return "nothing but sky\n".to_owned();
    };
    let place = |[x, y, z]: [f64; 3]| format!("{x:.3}, {y:.3}, {z:.3} m");
    let mut rows = Vec::new();
    let mut row = |key: &str, value: String| rows.push((key.to_owned(), value));
    let mut lines = String::new();
    match seen.thing {
        SeenThing::Ground => row("ground", String::new()),
        SeenThing::Hero => row("hero", String::new()),
        SeenThing::Piece(index) => {
            let instance = &layout.instances[index];
            let pass = &layout.passes[usize::from(instance.pass)].name;
            let piece = &layout.pieces[usize::from(instance.piece)].name;
            row("pass", pass.clone());
            row("piece", piece.clone());
            size_rows(
                instance,
                &layout.pieces[usize::from(instance.piece)],
                &mut row,
            );
            row("id", format!("{:016x}", instance.id));
            row("stands at", place(instance.position.to_array()));
            lines = lines_of(instance, piece, layout, removes);
        }
    }
    row("seen at", place(seen.position.to_array()));
    row("distance", format!("{:.3} m", seen.distance));
    let mut text = String::new();
    let wide = rows.iter().map(|(key, _)| key.len()).max().unwrap_or(0);
    for (key, value) in rows {
        text.push_str(format!("{key:<wide$}  {value}").trim_end());
        text.push('\n');
    }
    text + &lines
}

/// How large a piece is: by what its pass's `sizes` measure, and its longest side.
fn size_rows(instance: &Instance, piece: &Piece, row: &mut impl FnMut(&str, String)) {
    let millimetres = |metres: f32| format!("{:.1} mm", 1e3 * metres);
    let kind = piece
        .name
        .rsplit_once('-')
        .and_then(|(kind, _)| Kind::named(kind));
    let measured = match kind {
        Some(Kind::Twig | Kind::Tuft | Kind::Spray) => "width in plan",
        Some(Kind::Rock | Kind::Cobble | Kind::Pebble | Kind::Leaf | Kind::BarkFlake) | None => {
            "diameter"
        }
    };
    row(measured, millimetres(instance.diameter));
    let longest = instance.scale * piece.measure.size.max_element();
    row("longest side", millimetres(longest));
}

/// The lines that take a piece away, or pin one like it in its place.
fn lines_of(instance: &Instance, piece: &str, layout: &Layout, removes: bool) -> String {
    let pass = &layout.passes[usize::from(instance.pass)];
    if pass.name == PINS {
        return "it is a pin: change it in the shot's `pins`\n".to_owned();
    }
    let id = format!("{:016x}", instance.id);
    let mut text = if removes {
        format!("to take it away in this take, add to the list of the shot's `remove`:  \"{id}\"\n")
    } else {
        format!(
            "to take it away in this take, add to the shot, beside \"take\":  \"remove\": [\"{id}\"]\n"
        )
    };
    // Tiles and sprays are no pieces that a hand puts down
    if !pass.tally.is_of_shot() {
        let metres = |x: f64| format!("{x:.3} m");
        let long_axis = instance.world_from_piece().matrix3.x_axis;
        let turn = long_axis
            .x
            .atan2(-long_axis.z)
            .to_degrees()
            .rem_euclid(360.0);
        // A simpler version of a piece is that piece
        let name = piece.split('~').next().unwrap_or(piece);
        let pin = serde_json::json!({
            "piece": name,
            "at": [metres(instance.position.x), metres(instance.position.z)],
            "diameter": format!("{:.1} mm", 1e3 * instance.diameter),
            "heading": format!("{turn:.0} deg"),
        });
        text.push_str(&format!(
            "to have one like it there in every take, on its most stable side, add to the shot:  \"pins\": [{pin}]\n"
        ));
    }
    text
}

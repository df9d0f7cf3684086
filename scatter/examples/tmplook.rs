#![allow(clippy::print_stdout, clippy::unwrap_used)]
//! throwaway
use glam::DAffine3;
use scatter::picture::*;
struct G<'a>(&'a scatter::ground::Ground);
impl Terrain for G<'_> { fn height(&self, x: f64, z: f64) -> f64 { self.0.height(x, z) } }
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let path = std::path::Path::new(&args[1]);
    let shot = scatter::shot::Shot::read(path).unwrap_or_else(|e| panic!("{e}"));
    let take = args.get(5).map_or(shot.take, |t| t.parse().unwrap());
    let t = std::time::Instant::now();
    let dresser = scatter::layout::Dresser::new(&shot, path.parent().unwrap()).unwrap_or_else(|e| panic!("{e}"));
    let d = dresser.dress(take, &|_| ()).unwrap_or_else(|e| panic!("{e}"));
    println!("{:.3} s, {} pieces, {} cells", t.elapsed().as_secs_f64(), d.layout.instances.len(), d.cells);
    for p in &d.layout.passes { println!("{:12} {:?}", p.name, p.tally); }
    for s in &d.stages { println!("  {:20} {:.3}", s.name, s.seconds); }
    let props: Vec<Prop> = dresser.heroes().iter().map(|h| Prop { parts: &h.parts, world_from_prop: h.world_from_hero }).collect();
    let _ = DAffine3::IDENTITY;
    let sun = shot.light.sun;
    let look = match shot.ground.look { scatter::shot::Look::Soil => GroundLook::Soil, scatter::shot::Look::Sand => GroundLook::Sand, scatter::shot::Look::Gravel => GroundLook::Gravel, scatter::shot::Look::Rock => GroundLook::Rock, scatter::shot::Look::Litter => GroundLook::Litter };
    let g = G(dresser.ground());
    let scene = Scene { layout: &d.layout, heroes: &props, ground: Some(&g), look, light: Light { sun_direction: scatter::view::toward_sun(sun.azimuth.radians(), sun.elevation.radians()), mood: Mood::Sun } };
    let o = LookOptions { width: args[3].parse().unwrap(), samples: args[4].parse().unwrap(), ..LookOptions::default() };
    let t = std::time::Instant::now();
    let p = render(&scene, &d.layout.cameras[0], &o, &mut |_, _| true).unwrap_or_else(|e| panic!("{e}"));
    println!("render {:.1} s", t.elapsed().as_secs_f64());
    scatter::picture::png::write(std::path::Path::new(&args[2]), p.width, p.height, &p.to_srgb8(Tone::Filmic)).unwrap();
}

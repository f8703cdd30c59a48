#![allow(missing_docs)]
use pairspeed::{footage::Recording, glyph_sets, readings, recognise::Recogniser, setup::LoadedSetup};
use std::{
    path::{Path, PathBuf},
    time::Instant,
};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let setup = LoadedSetup::load(Path::new(&a[2])).unwrap();
    let sets = glyph_sets(&setup).unwrap();
    let t = Instant::now();
    let mut r = Recording::open(&[PathBuf::from(&a[1])]).unwrap();
    println!("open {:?}", t.elapsed());
    let t = Instant::now();
    let s = readings::sample(&mut r, &setup.setup).unwrap();
    println!("sample {:?} {}", t.elapsed(), s.regions[0].len());
    let t = Instant::now();
    let rec = Recogniser::calibrate(&setup.setup.regions, &sets, &s);
    println!("calibrate {:?}", t.elapsed());
    let t = Instant::now();
    let p = readings::prepare(&mut r, &setup.setup, &sets).unwrap();
    println!("prepare {:?}", t.elapsed());
    let t = Instant::now();
    let read = readings::collect(&mut r, &p.setup, &p.recogniser, 0.95, &mut readings::Silent).unwrap();
    println!("collect {:?} {}", t.elapsed(), read.frame.len());
    let t = Instant::now();
    let read = {
        use pairspeed::footage::FrameSource;
        r.work_through(
            &[pairspeed::footage::Area { left: 60, top: 20, right: 600, bottom: 250 }],
            &|_| (),
            &mut |_| std::ops::ControlFlow::Continue(()),
        )
        .unwrap();
        1
    };
    println!("decode only {:?} {}", t.elapsed(), read);
    let _ = rec;
}

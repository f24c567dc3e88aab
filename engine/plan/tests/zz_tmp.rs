//! tmp
use pilotage_plan::render::{Form, render_all};
#[test]
fn tmp() {
    for path in std::env::var("FILES").unwrap().split_whitespace() {
        let bytes = std::fs::read(path).unwrap();
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let t = std::time::Instant::now();
        match pilotage_plan::read_bytes(path.rsplit('/').next().unwrap(), &bytes) {
            Ok(f) => println!("OK {path} {:?} {:?}", f.kind(), t.elapsed()),
            Err(p) => {
                println!(
                    "{}\n{:?}",
                    render_all(&p, &|_| Some(text.as_str()), Form::Plain),
                    t.elapsed()
                );
            }
        }
    }
}

//! Shipped files are embedded; a new file among them must lead to a new build.
fn main() {
    for folder in ["sequences", "drivers/files"] {
        println!("cargo:rerun-if-changed={folder}");
    }
}

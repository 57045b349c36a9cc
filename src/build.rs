//! Folders embedded by macros are not watched by the compiler on stable: a new file would be missed.

fn main() {
    println!("cargo:rerun-if-changed=src/build.rs");
    for folder in ["static", "migrations", "shared"] {
        // A folder that is not there would make every build start over.
        if std::path::Path::new(folder).exists() {
            println!("cargo:rerun-if-changed={folder}");
        }
    }
}

//! Finds libavcodec and generates the binding for its inverse DCT, so that the layout of its structure comes from the
//! installed header.

use std::error::Error;
use std::path::PathBuf;

/// The headers that declare the inverse DCT, and the function that frees its structure.
const HEADERS: &str = "#include <libavcodec/avdct.h>\n#include <libavutil/mem.h>\n";

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=build.rs");
    let mut include_arguments = Vec::new();
    for library in ["libavcodec", "libavutil"] {
        let found = pkg_config::Config::new().probe(library)?;
        include_arguments.extend(found.include_paths.iter().map(|path| format!("-I{}", path.display())));
    }
    let out = PathBuf::from(std::env::var_os("OUT_DIR").ok_or("OUT_DIR is not set: build with cargo")?);
    bindgen::Builder::default()
        .header_contents("avdct-binding.h", HEADERS)
        .clang_args(include_arguments)
        .allowlist_function("avcodec_dct_alloc|avcodec_dct_init|av_freep")
        .allowlist_type("AVDCT|AVClass")
        .opaque_type("AVClass")
        .generate_comments(false)
        .parse_callbacks(Box::new(bindgen::CargoCallbacks::new()))
        .generate()?
        .write_to_file(out.join("avdct.rs"))?;
    Ok(())
}

//! Checks a knowledge base: `cargo run --example vet -- FOLDER`.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "knowledge/watercraft".to_owned());
    let mut files = Vec::new();
    if let Err(error) = gather(Path::new(&folder), &mut files) {
        eprintln!("failed to read `{folder}`: {error}");
        return ExitCode::from(74);
    }
    let (knowledge, findings) = doldrum::knowledge::read(&files);
    let findings = findings.sorted();
    for finding in &findings {
        println!("{finding}\n");
    }
    println!(
        "{} files, {} findings, {}",
        files.len(),
        findings.len(),
        if knowledge.is_some() { "usable" } else { "not usable" }
    );
    ExitCode::from(u8::from(!findings.is_empty()))
}

/// Every file below a folder, with its name.
fn gather(folder: &Path, files: &mut Vec<(String, Vec<u8>)>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            gather(&path, files)?;
        } else {
            files.push((path.to_string_lossy().into_owned(), fs::read(&path)?));
        }
    }
    Ok(())
}

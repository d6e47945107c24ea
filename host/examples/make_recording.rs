//! In: nothing. Out: the invented recordings in `host/recordings/`, always the same bytes.

use std::error::Error;
use std::path::Path;

use stillpoint::source::rehearsal::recording::recordings;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    for recording in recordings() {
        let text = recording.text()?;
        std::fs::write(folder.join(recording.file), &text)?;
        println!("{}: {} bytes", recording.file, text.len());
    }
    Ok(())
}

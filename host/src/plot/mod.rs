//! In: measured moves and their samples. Out: SVG, PNG and HTML pictures.

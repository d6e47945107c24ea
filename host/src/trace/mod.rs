//! In: a recording as people export it. Out: readings in counts, or a marked gap, each with its line number.

//! In: what can go wrong on the host. Out: one message with file, line and what to do.

//! In: invented sheets of every difficulty. Out: what each picture of them must hold.

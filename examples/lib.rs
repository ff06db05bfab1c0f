//! Short programs that embed ecgkeep; see the files beside this one.

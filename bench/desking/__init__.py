"""Parts of the desk's benchmark: a roll to look at, and how long what is asked for takes."""

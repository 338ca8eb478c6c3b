"""One thin file per command: parse, one library call, render, exit status."""

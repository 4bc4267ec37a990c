"""What a journey's readings say once it is over: figures in frozen records, from which page and `--json` are made alike."""

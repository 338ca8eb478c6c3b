"""What a player did to a known file: its recording compared with the file."""

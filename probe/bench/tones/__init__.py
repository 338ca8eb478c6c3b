"""What the bench plays: the tones, their waveforms, and files of them for other players."""

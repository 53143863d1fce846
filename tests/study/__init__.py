"""Studies: long commands that show on simulated days how good the answers are."""

"""Will it stay calm long enough: the stored wind, the fits to it, what the job needs, and who is told."""

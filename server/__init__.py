"""The service: keeps the raw log, computes passes, dose and wind from it, and shows them."""

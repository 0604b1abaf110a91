"""How this bay differs from its file, by its log: airflow, crop, envelope, fans."""

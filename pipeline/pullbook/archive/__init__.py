"""The tune history: every day of every engine as Parquet tables that switch together and are never thrown away."""

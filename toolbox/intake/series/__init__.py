"""Values over time out of tables and JSON: pool levels and forecasts of wind."""

"""Prometheus, Alertmanager and Grafana: what is shipped for them, made here and tried on them."""

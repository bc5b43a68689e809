"""What only a trial may do: examine drives that are to be overwritten, and write to an array
made of them. An import contract lets nothing but ``arraygauge.trial`` in here."""

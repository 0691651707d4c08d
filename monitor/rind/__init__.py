"""What air does to a rind: drying and moisture (the twin), mould, mites, ripening, condensation, doses."""

"""Air records, doses and rind states in, findings out; one file per condition."""

"""What crews enter tree by tree: taking it in, deciding what stands, handing it on to phones and to computing."""

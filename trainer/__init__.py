"""Donning Room: respirator training, watched practice and the record that proves them."""

"""Looking at a cut afterwards: its picture and lanes, any moment's spectrum, and its sound taken apart."""

"""Small changes of a sequence, flown through scenarios: which of them would anybody notice?"""

from sequencer.studies.mutants.making import mutants_of
from sequencer.studies.mutants.model import Kind, Mutant
from sequencer.studies.mutants.study import fly_mutants
from sequencer.studies.mutants.summary import Fate, Score, Summary

__all__ = ["Fate", "Kind", "Mutant", "Score", "Summary", "fly_mutants", "mutants_of"]

"""What all numbered documents have in common."""

from django.db import models
from django.db.models import Q

from shopdesk.lookup import narrowed, rank_matches
from shopdesk.shop import numbering


class NumberedQuerySet(models.QuerySet):
    """A query set of documents with a number in a series."""

    search_index = ""

    def with_number(self, text: str):
        """Return the one with this number, however it is written: `INV26-00042`, `inv26
        42`.
        """
        read = numbering.read(text)
        return self.filter(series=read[0], number=read[1]) if read else self.none()

    def numbered_like(self, text: str):
        """Return those whose number may contain `text`."""
        part = numbering.read_part(text)
        if part is None:
            return self.none()
        found = self
        if self.search_index:
            found = narrowed(self, self.search_index, part[1])
        return found.filter(series__contains=part[0], number__contains=part[1])

    def search(self, query: str):
        """Return those whose number may be `query`, latest first."""
        return self.numbered_like(query).best_of(query)

    def best_of(self, query: str):
        """Return these, those whose number is `query` first."""
        whole, part = numbering.read(query), numbering.read_part(query)
        nothing = Q(pk__in=[])
        return rank_matches(
            self,
            exact=Q(series=whole[0], number=whole[1]) if whole else nothing,
            begins=Q(number=int(part[1])) if part and part[1] else nothing,
            then=["-pk"],
        )


class Numbered(models.Model):
    """A document with a number in a series, such as INV26-00042."""

    series = models.CharField(max_length=12)
    number = models.PositiveIntegerField()

    class Meta:
        abstract = True

    def __str__(self):
        return self.full_number

    @property
    def full_number(self) -> str:
        return numbering.full_number(self.series, self.number)

"""The page of words."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from plant.access import needs
from plant.words import all_words, by_context


@needs("see words")
def words(request: HttpRequest) -> HttpResponse:
    """Show what the words mean and where they come from, all or those that tell of something."""
    wanted = request.GET.get("q", "").strip()
    found = [word for word in all_words() if not wanted or word.tells_of(wanted)]
    context = {"groups": by_context(found).items(), "wanted": wanted, "count": len(found), "total": len(all_words())}
    return render(request, "plant/words.html", context)

"""The page of words, and the words whose first use on a page leads there."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import cache_control

from plant.access import needs
from plant.words.table import all_words, by_group


@needs("see words")
def words(request: HttpRequest) -> HttpResponse:
    """Show what the words mean and where they come from, all or those that tell of something."""
    wanted = request.GET.get("q", "").strip()
    found = [word for word in all_words() if not wanted or word.tells_of(wanted)]
    context = {
        "groups": by_group(found).items(),
        "called": [word for word in found if word.is_called(wanted)] if wanted else [],
        "wanted": wanted,
        "count": len(found),
        "total": len(all_words()),
    }
    return render(request, "words/words.html", context)


@needs("see words")
@cache_control(private=True, max_age=3600)
def linked(request: HttpRequest) -> JsonResponse:
    """Give the words that a newcomer may not know: each page links the first use of each."""
    found = [word for word in all_words() if word.is_linked]
    return JsonResponse({"words": [[word.term, word.anchor, word.meaning] for word in found]})

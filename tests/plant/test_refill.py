"""A page's form filled with what was typed before: each kind of field, the right form, and nothing that is not sure."""

import pytest

from config.refill import refill

PAGE = '<body><div id="messages" role="status"></div>{}</body>'


def filled(form: str, fields: dict[str, list[str]], page: str = "/mill/", address: str = "/mill/") -> str:
    return refill(PAGE.format(form), page, address, fields, "<p>NOTE</p>", "<p>TOP</p>")


@pytest.mark.parametrize(
    ("field", "said", "after"),
    [
        ('<input name="a">', ["oak & ash"], '<input name="a" value="oak &amp; ash">'),
        ('<input name="a" value="old" required>', ["new"], '<input name="a" required value="new">'),
        ('<input type="hidden" name="version" value="7">', ["6"], '<input type="hidden" name="version" value="6">'),
        ('<textarea name="a">\nold</textarea>', ["a < b\nc"], '<textarea name="a">\na &lt; b\nc</textarea>'),
        ('<input type="checkbox" name="a" value="2" checked>', ["3"], '<input type="checkbox" name="a" value="2">'),
        ('<input type="checkbox" name="a">', ["on"], '<input type="checkbox" name="a" checked>'),
        ('<input type="radio" name="a" value="x">', ["x"], '<input type="radio" name="a" value="x" checked>'),
        (
            '<select name="a"><option value="1" selected>one</option><option value="2">two</option></select>',
            ["2"],
            '<select name="a"><option value="1">one</option><option value="2" selected>two</option></select>',
        ),
    ],
)
def test_each_kind_of_field_comes_back(field: str, said: list[str], after: str) -> None:
    form = '<form method="post">{}</form>'
    assert f"<p>NOTE</p>{after}</form>" in filled(form.format(field), {"a": said, "version": said})


@pytest.mark.parametrize(
    "field",
    [
        '<input type="password" name="a">',
        '<input type="file" name="a">',
        '<input type="hidden" name="csrfmiddlewaretoken" value="fresh">',
        '<button type="submit" name="a" value="sound">Sound</button>',
        '<input type="checkbox" name="a" data-said-anew="yes">',
    ],
)
def test_secrets_tokens_buttons_and_statements_of_this_moment_are_left_alone(field: str) -> None:
    form = f'<form method="post">{field}<input name="b"></form>'
    assert field in filled(form, {"a": ["on"], "b": ["x"], "csrfmiddlewaretoken": ["stale"]})


def test_the_form_that_was_sent_is_filled_and_no_other() -> None:
    forms = "".join(
        f'<form method="post" action="/w/{n}/"><input type="hidden" name="no" value="{n}"><input name="why"></form>'
        for n in (1, 2)
    )
    shown = filled(forms, {"no": ["2"], "why": ["late"]}, address="/w/2/")
    assert shown.count("late") == 1 and shown.index("late") > shown.index('action="/w/2/"')


def test_of_two_forms_to_one_address_the_one_with_the_same_hidden_fields_is_filled() -> None:
    forms = "".join(
        f'<form method="post" action="/w/"><input type="hidden" name="no" value="{n}"><input name="why"></form>'
        for n in (1, 2)
    )
    shown = filled(forms, {"no": ["2"], "why": ["late"]}, address="/w/")
    assert shown.index("late") > shown.index('value="2"') and shown.count("late") == 1


def test_what_is_folded_over_the_words_unfolds() -> None:
    form = (
        '<details class="x"><form method="post"><details><input name="a"></details>'
        '<details><input name="b"></details></form></details>'
    )
    shown = filled(form, {"a": ["word"], "b": [""]})
    assert shown.count(" open>") == 2 and '<details class="x" open>' in shown


def test_where_the_form_is_gone_its_words_stand_on_the_page() -> None:
    shown = filled("<p>closed</p>", {"why": ["the <hinge>"]})
    assert "TOP" in shown and "the &lt;hinge&gt;" in shown


def test_the_rest_of_the_page_stays_to_the_letter() -> None:
    rest = "<p>a &amp; b &lt; c &nbsp; ü</p><!-- note --><script>if (a < b) { c(); }</script>\n<svg viewBox='0 0 1 1'/>"
    shown = filled(rest + '<form method="post"><input name="a"></form>' + rest, {"a": ["x"]})
    assert shown.count(rest) == 2

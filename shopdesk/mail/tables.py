from shopdesk.look import tables


class LetterTable(tables.ListTable):
    caption = "Letters"

    subject = tables.WordsColumn(linkify=True)
    to = tables.Column()
    enclosed = tables.Column(verbose_name="Papers")
    written_at = tables.MomentColumn(verbose_name="Written")
    standing = tables.BadgeColumn(orderable=False)
    said = tables.Column(verbose_name="What went wrong", orderable=False)

    class Meta(tables.ListTable.Meta):
        empty_text = "No letters here."

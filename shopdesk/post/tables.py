from shopdesk import tables


class LetterTable(tables.DeskTable):
    caption = "Letters"

    subject = tables.WordsColumn(linkify=True)
    to = tables.Column()
    enclosed = tables.Column(verbose_name="Papers")
    written_at = tables.MomentColumn(verbose_name="Written")
    standing = tables.MarkColumn(orderable=False)
    said = tables.Column(verbose_name="What went wrong", orderable=False)

    class Meta(tables.DeskTable.Meta):
        empty_text = "No letters here."

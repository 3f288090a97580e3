//! The frame of a report: title and body in; one HTML document out that needs no network, no script and
//! no font of its own.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::palette::{LIGHT, css};

/// Layout of the page; the colours are the variables of [`colours`].
const STYLE: &str = "
*{box-sizing:border-box}
body{margin:0;background:var(--window);color:var(--text);font:15px/1.5 system-ui,'Segoe UI',Roboto,'Helvetica Neue',sans-serif}
main{max-width:1240px;margin:0 auto;padding:2rem 1.25rem 3rem}
header{border-bottom:2px solid var(--text);margin-bottom:1.25rem}
h1{font-weight:400;font-size:2rem;margin:0 0 .25rem}
h1 small{font-size:1rem;color:var(--secondary);margin-left:.75rem}
h2{font-weight:600;font-size:1rem;margin:2rem 0 .5rem}
.lead{font-size:1.1rem;max-width:60em}
figure{margin:0;overflow-x:auto}
figure svg{display:block;width:100%;height:auto}
figure.song svg{min-width:48rem}
table{border-collapse:collapse;font-variant-numeric:tabular-nums}
th{font-weight:400;text-align:left;color:var(--secondary)}
td{text-align:right}
th,td{padding:.15rem .75rem .15rem 0;border-bottom:1px solid var(--grid);vertical-align:top}
thead th{text-align:right}
thead th:first-child{text-align:left}
td.unit{text-align:left;color:var(--secondary)}
td.words,thead th.words{text-align:left;padding-left:.75rem}
.transition{width:20rem}
tr.chosen td{font-weight:600}
.notes{padding-left:1.1rem;max-width:60em}
.notes li{margin:.3rem 0}
.pair{display:grid;grid-template-columns:minmax(26rem,1fr) minmax(30rem,1.5fr);gap:0 2.5rem}
@media (max-width:66rem){.pair{display:block}}
.settings{columns:18rem;column-gap:2.5rem}
.settings table{width:100%;break-inside:avoid;margin-bottom:1rem}
.settings caption{text-align:left;font-weight:600}
.settings td,.settings th{color:var(--secondary)}
.settings .changed td,.settings .changed th{color:var(--text);font-weight:600}
.files td{text-align:left}
a{color:inherit}
code{font:12px/1.4 ui-monospace,Consolas,monospace;color:var(--secondary);overflow-wrap:anywhere}
.tag{margin:.15rem 0}
article{border-top:2px solid var(--text);margin-top:3rem}
footer{margin-top:2.5rem;border-top:1px solid var(--grid);color:var(--secondary);font-size:.85rem}
@media print{body{background:#fff}}
";

/// The palette as CSS variables.
fn colours() -> String {
    let variables = [
        ("window", LIGHT.window),
        ("grid", LIGHT.grid),
        ("text", LIGHT.text),
        ("secondary", LIGHT.secondary),
    ];
    let list: String = variables.iter().map(|(name, colour)| format!("--{name}:{};", css(*colour))).collect();
    format!(":root{{{list}}}")
}

/// The document of masters; `artist` stands behind the heading in smaller letters.
pub(super) fn page(title: &str, heading: &str, artist: Option<&str>, body: &Markup) -> String {
    let footer = format!(
        "Lintel {}. Loudness after ITU-R BS.1770-5 and EBU Tech 3341, 3342. Every file was re-read, its samples \
         compared, and its loudness and true peak measured by a second, independent meter. The delivery's own \
         specification and local rules take precedence.",
        env!("CARGO_PKG_VERSION")
    );
    page_with_footer(title, heading, artist, body, &footer)
}

/// A document with a footer of its own.
pub(crate) fn page_with_footer(
    title: &str,
    heading: &str,
    artist: Option<&str>,
    body: &Markup,
    footer: &str,
) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="icon" href="data:,";
                style { (PreEscaped(colours())) (PreEscaped(STYLE)) }
            }
            body {
                main {
                    header {
                        h1 { (heading) @if let Some(artist) = artist { small { (artist) } } }
                    }
                    (body)
                    footer { p { (footer) } }
                }
            }
        }
    }
    .into_string()
}

/// An SVG document as a part of a page: without its XML declaration.
pub(crate) fn inline(svg: &str) -> PreEscaped<&str> {
    PreEscaped(svg.find("<svg").map_or(svg, |at| &svg[at..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_of_a_song_is_escaped() {
        let body = html! { p { "<script>" } };
        let page = page("a", "<script>alert(\"x\")</script> & co", Some("<script>"), &body);
        assert!(!page.contains("<script"));
        assert!(page.contains("&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; co"), "{page}");
    }
}

// SPDX-License-Identifier: MIT
// Style and script of the report pages.
#pragma once

#include <string_view>

namespace catchfield::report {

inline constexpr std::string_view page_style = R"css(
:root{--ink:#1d2329;--soft:#56616b;--line:#c9d0d6;--paper:#fff;--wash:#f3f5f6;--mark:#0b5d7a}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.5 "Source Serif 4",Georgia,serif}
main{max-width:64rem;margin:0 auto;padding:1.5rem 1rem 4rem}
h1,h2,h3,th,caption,legend,label,button,.tag{font-family:"Source Sans 3","Helvetica Neue",Arial,sans-serif}
h1{font-size:1.9rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.3rem;margin:2.2rem 0 .6rem;border-top:3px solid var(--ink);padding-top:.5rem}
h3{font-size:1.05rem;margin:1.3rem 0 .3rem}
p{margin:.4rem 0}
.soft{color:var(--soft)}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;margin:.5rem 0 1rem;font-size:.9rem}
caption{text-align:left;font-weight:600;padding:.3rem 0}
th,td{padding:.35rem .55rem;border-bottom:1px solid var(--line);text-align:left;vertical-align:top}
th{font-weight:600}
.n{text-align:right;font-variant-numeric:tabular-nums}
thead th{background:var(--wash)}
thead th button{all:unset;cursor:pointer;font-weight:600}
thead th button:focus-visible{outline:2px solid var(--mark)}
tr.on>*{background:#e3eef2}
figure{margin:.5rem 0}
svg.map{width:100%;max-height:34rem;background:var(--wash);border:1px solid var(--line)}
svg .zone{stroke:#fff;stroke-width:1.5;vector-effect:non-scaling-stroke;cursor:pointer}
svg .zone:focus{outline:none}
svg .mark{fill:none;stroke:#000;stroke-width:3;vector-effect:non-scaling-stroke;pointer-events:none}
svg text{font-family:Arial,sans-serif}
fieldset{border:1px solid var(--line);margin:.5rem 0;padding:.4rem .7rem}
fieldset label{display:inline-block;margin:.15rem .9rem .15rem 0;white-space:nowrap}
.legend{display:flex;flex-wrap:wrap;gap:.3rem .9rem;font-size:.85rem;margin:.3rem 0}
.legend span{display:inline-flex;align-items:center;gap:.35rem}
.legend i{display:inline-block;width:1.1rem;height:1.1rem;border:1px solid #555}
#figures{min-height:1.6rem;font-weight:600}
details{border-bottom:1px solid var(--line);padding:.3rem 0}
summary{cursor:pointer;font-weight:600}
.tag{display:inline-block;border:1px solid var(--soft);border-radius:.2rem;padding:0 .35rem;font-size:.8rem}
.caution{border-left:4px solid #b35806;background:#fdf6ec;padding:.5rem .8rem;margin:.8rem 0}
.bars text{font-size:12px}
a{color:var(--mark)}
@media print{main{max-width:none;padding:0}details{break-inside:avoid}fieldset{display:none}.map{max-height:16rem!important}}
)css";

inline constexpr std::string_view page_script = R"js(
(function(){
var map=document.querySelector('svg.map');
if(map){
 var views=JSON.parse(document.getElementById('views').textContent);
 var legend=document.getElementById('legend'),figures=document.getElementById('figures');
 var mark=map.querySelector('.mark');
 function show(id){
  var v=views.filter(function(x){return x.id===id})[0];
  map.querySelectorAll('.zone').forEach(function(p){
   var z=v.zones[p.dataset.zone];
   p.setAttribute('fill',z.fill);p.setAttribute('aria-label',z.text);
   p.querySelector('title').textContent=z.text;});
  while(legend.firstChild)legend.removeChild(legend.firstChild);
  v.legend.forEach(function(l){
   var s=document.createElement('span'),i=document.createElement('i');
   i.style.background=l.fill;s.appendChild(i);s.appendChild(document.createTextNode(l.text));legend.appendChild(s);});
  map.setAttribute('aria-label',v.title);
 }
 document.querySelectorAll('input[name=view]').forEach(function(r){
  r.addEventListener('change',function(){show(r.value)});});
 function on(p){
  mark.setAttribute('d',p.getAttribute('d'));
  figures.textContent=p.getAttribute('aria-label');
  document.querySelectorAll('tr[data-zone]').forEach(function(t){
   t.classList.toggle('on',t.dataset.zone===p.dataset.zone)});
 }
 map.querySelectorAll('.zone').forEach(function(p){
  ['mouseenter','focus','click'].forEach(function(e){p.addEventListener(e,function(){on(p)})});});
 document.querySelectorAll('tr[data-zone]').forEach(function(t){
  t.addEventListener('mouseenter',function(){
   var p=map.querySelector('.zone[data-zone="'+t.dataset.zone+'"]');if(p)on(p);});});
 show(views[0].id);
}
document.querySelectorAll('table').forEach(function(t){
 var rows=t.tBodies[0].rows;if(rows.length<3)return;
 t.querySelectorAll('thead th').forEach(function(th,i){
  var b=document.createElement('button');b.type='button';b.textContent=th.textContent;b.title='Sort';
  th.textContent='';th.appendChild(b);
  b.addEventListener('click',function(){
   var up=th.getAttribute('aria-sort')!=='ascending';
   t.querySelectorAll('thead th').forEach(function(o){o.removeAttribute('aria-sort')});
   th.setAttribute('aria-sort',up?'ascending':'descending');
   Array.prototype.slice.call(rows).sort(function(a,c){
    var x=a.cells[i].textContent,y=c.cells[i].textContent,m=parseFloat(x),n=parseFloat(y);
    var d=isNaN(m)||isNaN(n)?x.localeCompare(y):m-n;return up?d:-d;
   }).forEach(function(r){t.tBodies[0].appendChild(r)});
  });});});
})();
)js";

}  // namespace catchfield::report
